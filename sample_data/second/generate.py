"""Writes the second company's exports as they would arrive, and what is true of them.

`python -m sample_data.second.generate` writes `workspace/` and `truth.toml` anew, the same each
time. Belongs here: headers, titles, totals, marks and slips of the exports. Does not belong here:
facts (`world`), mappings and reference files, which are written by hand in `written/`.
"""

from __future__ import annotations

import datetime as dt
import shutil
from collections import Counter
from decimal import Decimal
from pathlib import Path

from sample_data.second.world import AGENCIES, MODELS, PRODUCTS, World, make

HOME = Path(__file__).parent
KINDS = {"repair": "ZREP", "delime": "ZENT", "inspection": "ZWAR", "cartridge_change": "ZFIL"}
UNITS = {"Gesamthärte": "°dH", "pH-Wert": "-"}
SHOP = {"SOFT-20": "QM Soft 20", "CARBON-X": "QM CARBON-X", "CARBON-X-C": "QM Carbon X cartridge",
        "LIMEGATE": "LIMEGATE", "LIMEGATE-C": "Limegate-C"}  # fmt: skip
EPOCH = dt.date(1899, 12, 30)  # day 0 of a spreadsheet's count


def german(day: dt.date) -> str:
    """31.12.2025."""
    return day.strftime("%d.%m.%Y")


def comma(number: Decimal, decimals: int = 2) -> str:
    """1.591,81."""
    return f"{number:,.{decimals}f}".translate(str.maketrans(",.", ".,"))


class Writer:
    """Writes the exports, and counts what must become of their rows."""

    def __init__(self, world: World, folder: Path) -> None:
        self.world, self.folder = world, folder
        self.truth: dict[str, Counter[str]] = {}

    def count(self, feed: str, **rows: int) -> None:
        """What becomes of rows; each was read, but for those that splitting adds."""
        told = self.truth.setdefault(feed, Counter())
        told.update(rows)
        told["rows_read"] += sum(n for end, n in rows.items()) - 2 * rows.get("rows_split", 0)

    def lines(self, name: str, rows: list[list[str]], mark: str, encoding: str) -> None:
        """A text file."""
        path = self.folder / "exports" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        text = "\r\n".join(mark.join(row) for row in rows) + "\r\n"
        path.write_bytes(text.encode(encoding))

    def register(self) -> None:
        """The ERP's equipment: titles, zeros, stock that is not shipped, a sum at the end."""
        rows = [["Equipmentliste Werk 0100"], ["Stand: 30.06.2026"], []]
        rows.append(
            ["EQUNR", "SERGE", "MATNR", "AULDT", "INBDT", "KUNNR", "NAME1", "REGIO", "STAT"]
        )
        for number, unit in enumerate(self.world.units):
            region = self.world.regions[unit.site].split("-")[1]
            shipped = "31.02.2025" if number == 100 else german(unit.shipped)
            rows.append(
                [f"{9000 + number:018}", unit.serial, MODELS[unit.model].zfill(18), shipped,
                 german(unit.installed), unit.site, f"Großküche {unit.site[2:]}", region, "EI"]
            )  # fmt: skip
        for number in range(14):
            serial = f"{60000 + number:07}"
            rows.append(
                [f"{9900 + number:018}", serial, "100601".zfill(18), "", "", "", "", "", "LAGER"]
            )
        rows += [rows[10], ["Summe", "264 Equipments", *[""] * 7]]
        self.lines("erp/EQUI_20260630.csv", rows, ";", "cp1252")
        self.count(
            "units", records=len(self.world.units) - 1, set_aside=1, left_out=15, duplicates=1
        )

    def calls(self) -> None:
        """Orders, claims and claim lines: three files that make one call."""
        orders = [
            ["Serviceaufträge", *[""] * 7],
            ["AUFNR", "SERNR", "AUART", "ERDAT", "STOERD", "ENDDAT", "PARVW", "KTEXT"],
        ]
        heads = [["CLMNO", "AUFNR", "CLMDT", "STATUS", "WAERS"]]
        items = [
            ["Positionen zu Anträgen"],
            ["CLMNO", "POSNR", "ITMTY", "MATNR", "MENGE", "SATZ", "NETWR"],
        ]
        for call in self.world.calls:
            opened = "offen" if call.number == 410003 else german(call.opened)
            serial, done = call.unit.serial.lstrip("0"), call.opened + dt.timedelta(days=2)
            days = [opened, german(call.opened), german(done)]
            told = [KINDS[call.kind], *days, call.agency, call.text]
            orders.append([f"{call.number:012}", serial, *told])
            if not call.claim or call.claimed is None:
                continue
            heads.append([call.claim, str(call.number), german(call.claimed), "OFFEN", "EUR"])
            for place, (kind, part, count, amount, rate) in enumerate(call.lines, 1):
                hourly = comma(rate) if rate else ""
                items.append(
                    [call.claim, str(place * 10), kind, part, comma(count), hourly, comma(amount)]
                )
            if call.number % 5 == 0:
                items.append([call.claim, "90", "TXT", "siehe Anhang", "", "", ""])
        joined = len(heads) - 1
        texts = sum(row[2:3] == ["TXT"] for row in items)
        lines = len(items) - 2 - texts
        for number in range(9):
            heads.append([f"S{number}", str(410000 + number * 30), "01.02.2026", "STORNO", "EUR"])
            orders.append(
                [f"{500000 + number:012}", "41000", "ZINT", "05.01.2026", "", "", "", "Lager"]
            )
        heads.append(["C99999", "999999", "03.03.2026", "OFFEN", "EUR"])
        items.append([heads[1][0], "80", "XYZ", "", "", "", "12,00"])
        items.append(["Summe", "", "", "", "", "", "999.999,99"])
        orders.append(["*** Ende der Liste ***", f"{len(orders) - 2} Sätze"])
        self.lines("erp/SD_ORDERS_20260630.csv", orders, ";", "cp1252")
        self.lines("erp/CLAIM_HEAD_20260630.csv", heads, ";", "utf-8-sig")
        self.lines("erp/CLAIM_ITEMS_20260630.csv", items, ";", "cp1252")
        self.count("service_calls", records=len(self.world.calls) - 1, set_aside=1, left_out=10)
        self.count("service_calls", joined=joined, left_out=9, set_aside=1)
        self.count("service_calls", joined=lines, left_out=texts + 1, set_aside=1)

    def startups(self) -> None:
        """The field service's workbook: a sheet a year, two serials in a cell, units in cells."""
        import xlsxwriter

        path = self.folder / "exports" / "field" / "Field service 2026-06-30.xlsx"
        path.parent.mkdir(parents=True, exist_ok=True)
        head = [
            "Report",
            "Serials",
            "Requested",
            "Done",
            "By",
            "Static",
            "Air gap",
            "Level?",
            "Remarks",
        ]
        with xlsxwriter.Workbook(path) as book:
            book.set_properties({"created": dt.datetime(2026, 6, 30)})
            legend = book.add_worksheet("Legend")
            for at, text in enumerate(["Start-up reports", "ja = yes", "nein = no"]):
                legend.write(at, 0, text)
            for year in (2023, 2024, 2025):
                sheet = book.add_worksheet(f"Start-ups {year}")
                sheet.write(0, 0, f"Start-up reports {year}")
                sheet.write(1, 0, "printed 30.06.2026")
                sheet.write_row(3, 0, head)
                told = [one for one in self.world.startups if min(one[3].year, 2025) == year]
                for at, one in enumerate(told, 4):
                    self._report(sheet, at, one)
                sheet.write_row(len(told) + 5, 0, ["Total", len(told)])
            book.add_worksheet("Tabelle5")
        reports = len(self.world.startups)
        more = sum(len(one[1]) - 1 for one in self.world.startups)
        self.count("startups", records=reports + more, rows_split=more, left_out=3 + 3)

    def _report(self, sheet, at, one) -> None:
        number, units, asked, done, agency, static, gap = one
        serials = "; ".join(unit.serial.lstrip("0") for unit in units)
        names = AGENCIES[agency]
        wide = f"{comma(static, 1)} bar" if at % 3 else f"{static * 100:.0f} kPa"
        air = (
            "ok"
            if at % 9 == 0
            else f"{gap} cm"
            if at % 2
            else f'{gap / Decimal("2.54"):.2f}"'.replace(".", ",")
        )
        sheet.write_row(at, 0, [number, serials, (asked - EPOCH).days, german(done), names[at % 3]])
        sheet.write_row(at, 5, [wide, air, "ja" if at % 7 else "nein", ""])

    def laboratory(self) -> None:
        """One row an analyte, decimal commas, bounds, blanks that are no sample of a kitchen."""
        rows = [
            [
                "Labor-Nr.",
                "Kd-Nr.",
                "Ort",
                "Probenahme",
                "Bericht",
                "Parameter",
                "Ergebnis",
                "Einheit",
                "Bem.",
            ]
        ]
        aside = 0
        for number, (sample, site, _, day, told) in enumerate(self.world.samples):
            spelled = site.replace("-", " ") if number % 4 == 0 else site
            report = german(day + dt.timedelta(days=6))
            for name, value in told.items():
                result = comma(value, 2 if name == "Gesamtchlor" else 1)
                if name == "Gesamtchlor" and not value:
                    result = "<0,05" if number % 2 else "n.n."
                if number == 7 and name == "Chlorid":
                    result, aside = "trüb", 1
                unit = UNITS.get(name, "mg/l")
                rows.append(
                    [sample, spelled, "Zulauf", german(day), report, name, result, unit, ""]
                )
        read = len(rows) - 1
        for number in range(8):
            rows.append(
                [f"BL-{number}", "", "Blindwert", "02.01.2026", "", "Chlorid", "<1,0", "mg/l", ""]
            )
        self.lines("lab/LIMS_20260630.txt", rows, "\t", "utf-8")
        self.count("water_tests", records=read - aside, set_aside=aside, left_out=8)

    def shop(self) -> None:
        """American dates, freight and fees, goods returned, a grand total."""
        rows = [["Order #", "Line", "Date", "SKU", "Qty", "Total", "Ship-To", "Account"]]
        for number, (order, line, day, product, count, site) in enumerate(self.world.purchases):
            places = [site, ""] if number % 3 else ["", site]
            many = "2.5" if number == 30 else str(count)
            total = f"{PRODUCTS[product] * count}.00"
            rows.append(
                [order, str(line), day.strftime("%m/%d/%Y"), SHOP[product], many, total, *places]
            )
        bought = len(rows) - 1
        for number in range(40):
            order, _, day, _, _, site = self.world.purchases[number * 2]
            text = ["FREIGHT", "FEE PALLET"][number % 2]
            rows.append([order, "99", day.strftime("%m/%d/%Y"), text, "1", "35.00", site, ""])
        for number in range(6):
            rows.append(
                [f"R{number}", "1", "03/14/2026", "LIMEGATE", "-1", "-180.00", "K-00400", ""]
            )
        rows.append(["Grand Total", *[""] * 7])
        self.lines("shop/webshop_2026-06-30.csv", rows, ",", "utf-8")
        self.count("treatment_purchases", records=bought - 1, set_aside=1, left_out=47)

    def credits(self) -> None:
        """The books: what was paid is a posting below zero, its minus behind the number."""
        rows = [["BELNR", "BUDAT", "CLMNO", "MAT", "LOHN", "FAHRT"]]
        for claim, number, day, *amounts in self.world.credits:
            rows.append(
                [number, german(day), claim, *(f"{comma(one)}-" if one else "" for one in amounts)]
            )
        self.lines("erp/FI_CREDITS_20260630.csv", rows, ";", "cp1252")
        self.count("credits", records=len(rows) - 1)

    def write(self) -> None:
        """Everything, and truth.toml."""
        for name in ("register", "calls", "startups", "laboratory", "shop", "credits"):
            getattr(self, name)()


def sums(world: World) -> dict[str, Decimal]:
    """What amounts must add up to."""
    lines = [line for call in world.calls if call.number != 410003 for line in call.lines]
    return {
        "parts_amount": sum((m for k, _, _, m, _ in lines if k == "MAT"), Decimal(0)),
        "labor_hours": sum((c for k, _, c, _, _ in lines if k == "LAB"), Decimal(0)),
        "travel_amount": sum((m for k, _, _, m, _ in lines if k == "TRV"), Decimal(0)),
        "credited_parts": sum((one[3] for one in world.credits), Decimal(0)),
    }


def main(folder: Path = HOME / "workspace") -> None:
    """Writes the exports below `folder`, and the truth beside this file."""
    world = make()
    shutil.rmtree(folder, ignore_errors=True)
    writer = Writer(world, folder)
    writer.write()
    told = ["# What must become of the exports, by feed; written by `generate`, which made them."]
    for feed, counts in sorted(writer.truth.items()):
        told += ["", f"[{feed}]", *(f"{name} = {n}" for name, n in sorted(counts.items()) if n)]
    told += ["", "[sums]", *(f'{name} = "{total}"' for name, total in sums(world).items())]
    (HOME / "truth.toml").write_text("\n".join(told) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
