"""Exports of the company's ERP: equipment, orders, claims with their lines, postings.

Belongs here: short German headers, zeros, titles, totals, minus signs behind. Does not belong here:
facts (`world`), other systems (`systems`).
"""

from __future__ import annotations

import datetime as dt

from sample_data.second.world import MODELS
from sample_data.second.writing import Writer, comma, german

KINDS = {"repair": "ZREP", "delime": "ZENT", "inspection": "ZWAR", "cartridge_change": "ZFIL"}


def register(writer: Writer) -> None:
    """The ERP's equipment: titles, zeros, stock that is not shipped, a sum at the end."""
    rows = [["Equipmentliste Werk 0100"], ["Stand: 30.06.2026"], []]
    rows.append(["EQUNR", "SERGE", "MATNR", "AULDT", "INBDT", "KUNNR", "NAME1", "REGIO", "STAT"])
    for number, unit in enumerate(writer.world.units):
        region = writer.world.regions[unit.site].split("-")[1]
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
    writer.lines("erp/EQUI_20260630.csv", rows, ";", "cp1252")
    writer.count(
        "units", records=len(writer.world.units) - 1, set_aside=1, left_out=15, duplicates=1
    )


def calls(writer: Writer) -> None:
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
    for call in writer.world.calls:
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
    writer.lines("erp/SD_ORDERS_20260630.csv", orders, ";", "cp1252")
    writer.lines("erp/CLAIM_HEAD_20260630.csv", heads, ";", "utf-8-sig")
    writer.lines("erp/CLAIM_ITEMS_20260630.csv", items, ";", "cp1252")
    writer.count("service_calls", records=len(writer.world.calls) - 1, set_aside=1, left_out=10)
    writer.count("service_calls", joined=joined, left_out=9, set_aside=1)
    writer.count("service_calls", joined=lines, left_out=texts + 1, set_aside=1)


def credits(writer: Writer) -> None:
    """The books: what was paid is a posting below zero, its minus behind the number."""
    rows = [["BELNR", "BUDAT", "CLMNO", "MAT", "LOHN", "FAHRT"]]
    for claim, number, day, *amounts in writer.world.credits:
        rows.append(
            [number, german(day), claim, *(f"{comma(one)}-" if one else "" for one in amounts)]
        )
    writer.lines("erp/FI_CREDITS_20260630.csv", rows, ";", "cp1252")
    writer.count("credits", records=len(rows) - 1)
