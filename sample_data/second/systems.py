"""Exports of the company's other systems: field service, laboratory, shop.

Belongs here: sheets, long tables, American dates. Does not belong here: facts (`world`), the ERP
(`erp`).
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from sample_data.second.world import AGENCIES, PRODUCTS
from sample_data.second.writing import Writer, comma, german

UNITS = {"Gesamthärte": "°dH", "pH-Wert": "-"}
SHOP = {"SOFT-20": "QM Soft 20", "CARBON-X": "QM CARBON-X", "CARBON-X-C": "QM Carbon X cartridge",
        "LIMEGATE": "LIMEGATE", "LIMEGATE-C": "Limegate-C"}  # fmt: skip
EPOCH = dt.date(1899, 12, 30)  # day 0 of a spreadsheet's count


def startups(writer: Writer) -> None:
    """The field service's workbook: a sheet a year, two serials in a cell, units in cells."""
    import xlsxwriter

    path = writer.folder / "exports" / "field" / "Field service 2026-06-30.xlsx"
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
            told = [one for one in writer.world.startups if min(one[3].year, 2025) == year]
            for at, one in enumerate(told, 4):
                _report(sheet, at, one)
            sheet.write_row(len(told) + 5, 0, ["Total", len(told)])
        book.add_worksheet("Tabelle5")
    reports = len(writer.world.startups)
    more = sum(len(one[1]) - 1 for one in writer.world.startups)
    writer.count("startups", records=reports + more, rows_split=more, left_out=3 + 3)


def _report(sheet, at, one) -> None:
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


def laboratory(writer: Writer) -> None:
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
    for number, (sample, site, _, day, told) in enumerate(writer.world.samples):
        spelled = site.replace("-", " ") if number % 4 == 0 else site
        report = german(day + dt.timedelta(days=6))
        for name, value in told.items():
            result = comma(value, 2 if "chlor" in name.lower() and name != "Chlorid" else 1)
            if name == "Gesamtchlor" and not value:
                result = "<0,05" if number % 2 else "n.n."
            if number == 7 and name == "Chlorid":
                result, aside = "trüb", 1
            unit = UNITS.get(name, "mg/l")
            rows.append([sample, spelled, "Zulauf", german(day), report, name, result, unit, ""])
    read = len(rows) - 1
    for number in range(8):
        rows.append(
            [f"BL-{number}", "", "Blindwert", "02.01.2026", "", "Chlorid", "<1,0", "mg/l", ""]
        )
    writer.lines("lab/LIMS_20260630.csv", rows, "\t", "utf-8")
    writer.count("water_tests", records=read - aside, set_aside=aside, left_out=8)


def shop(writer: Writer) -> None:
    """American dates, freight and fees, goods returned, a grand total."""
    rows = [["Order #", "Line", "Date", "SKU", "Qty", "Total", "Ship-To", "Account"]]
    for number, (order, line, day, product, count, site) in enumerate(writer.world.purchases):
        places = [site, ""] if number % 3 else ["", site]
        many = "2.5" if number == 30 else str(count)
        total = f"{PRODUCTS[product] * count}.00"
        rows.append(
            [order, str(line), day.strftime("%m/%d/%Y"), SHOP[product], many, total, *places]
        )
    bought = len(rows) - 1
    for number in range(40):
        order, _, day, _, _, site = writer.world.purchases[number * 2]
        text = ["FREIGHT", "FEE PALLET"][number % 2]
        rows.append([order, "99", day.strftime("%m/%d/%Y"), text, "1", "35.00", site, ""])
    for number in range(6):
        rows.append([f"R{number}", "1", "03/14/2026", "LIMEGATE", "-1", "-180.00", "K-00400", ""])
    rows.append(["Grand Total", *[""] * 7])
    writer.lines("shop/webshop_2026-06-30.csv", rows, ",", "utf-8")
    writer.count("treatment_purchases", records=bought - 1, set_aside=1, left_out=47)
