"""The second half of the test set: exports that were written, and tried once, after the first half.

Their first figures are in DEVELOPERS.md; what they showed was mended afterwards.
"""

from __future__ import annotations

from tests.unit.assist.drafts.export_makers import Column as C
from tests.unit.assist.drafts.export_makers import (
    MadeExport,
    World,
    always,
    counted,
    counter,
    days,
    long_lab,
    made,
    number,
    of,
    one_of,
    serials,
    texts,
)


def dashed(serial: str) -> str:
    """A serial as some people write it."""
    return f"{serial[:3]}-{serial[3:]}"


def exports(w: World) -> list[MadeExport]:
    """Eighteen files."""
    return [*registers(w), *calls(w), *laboratories(w), *orders(w), *startups(w), *offices(w)]


def registers(w: World) -> list[MadeExport]:
    """Installed bases."""
    return [
        made(
            "AssetRegister.csv",
            "units",
            [
                C("Tenant", None, always("ACME-T1")),
                C("Asset ID", None, counter("A{:06d}", 90_001)),
                C("Mfr Serial", "serial", serials(dashed, once=True)),
                C("Unit Type", "model", of("models")),
                C("Dispatched", "shipped_on", days("%d-%b-%y")),
                C("Invoice Dt", "purchased_on", days("%d-%b-%y", 0.2)),
                C("Commissioned", "installed_on", days("%d-%b-%y", 0.2)),
                C("Decommissioned", "retired_on", days("%d-%b-%y", 0.9)),
                C("Location Code", "site", of("sites")),
                C("Location Name", "site_name", of("names")),
                C("Postcode", "postal_code", counter("{:05d}", 98_000)),
                C("Warranty End", None, days("%d-%b-%y", first=2025)),
                C("Book Value", None, number(2_000, 9_000)),
            ],
            world=w,
            mark="\t",
        ),
        made(
            "Bestandsliste Dampfgarer.csv",
            "units",
            [
                C("Fabriknummer", "serial", serials(once=True)),
                C("Typenbezeichnung", "model", of("models")),
                C("Auslieferung", "shipped_on", days("%d.%m.%Y")),
                C("Rechnungsdatum", "purchased_on", days("%d.%m.%Y", 0.1)),
                C("Einbaudatum", "installed_on", days("%d.%m.%Y", 0.3)),
                C("Betriebsstätte", "site", of("sites")),
                C("Objektname", "site_name", of("names")),
                C("PLZ", "postal_code", counter("{:05d}", 20_095)),
                C("Vorgängergerät", "replaces", serials(empty=0.9)),
                C("Garantie bis", None, days("%d.%m.%Y", first=2025)),
            ],
            world=w,
            mark=";",
            titles=["Bestandsliste", "Stand;31.03.2025", ""],
            encoding="cp1252",
        ),
        made(
            "EQUI_FR.csv",
            "units",
            [
                C("SOCIETE", None, always("FR10")),
                C("NO_SERIE", "serial", serials(once=True)),
                C("CODE_ARTICLE", "model", of("models")),
                C("DT_EXPED", "shipped_on", days("%Y%m%d")),
                C("DT_FACT", "purchased_on", days("%Y%m%d", 0.2)),
                C("DT_MES", "installed_on", days("%Y%m%d", 0.2)),
                C("NO_CLIENT", "site", of("sites")),
                C("RAISON_SOCIALE", "site_name", of("names")),
                C("CP", "postal_code", counter("{:05d}", 31_000)),
            ],
            world=w,
            mark="|",
        ),
    ]


def calls(w: World) -> list[MadeExport]:
    """Field service."""
    return [
        made(
            "Tickets_20250430.csv",
            "service_calls",
            [
                C("Ticket #", "call", counter("T{:07d}", 11)),
                C(
                    "Wty Claim No",
                    "claim",
                    lambda w, n: [f"W{8_000 + i}" if i % 4 else "" for i in range(n)],
                ),
                C("Machine S/N", "serial", serials()),
                C("Job Type", "kind", one_of(["Breakdown", "Inspection", "Deliming", "Cartridge"])),
                C("Logged", "opened_on", days("%m/%d/%Y %I:%M %p")),
                C("Down Since", "failed_on", days("%m/%d/%Y", 0.4)),
                C("Finished", "completed_on", days("%m/%d/%Y", 0.1)),
                C("Clm Filed", "claimed_on", days("%m/%d/%Y", 0.4)),
                C("Servicer", "agency", of("agencies")),
                C("Done By", "performed_by", one_of(["Tech", "Customer"])),
                C("Root Cause", "cause", of("causes", 0.2)),
                C("Part Replaced", "part", one_of(["gasket", "probe", "board"], 0.2)),
                C("Material $", "parts_amount", number(20, 1_900, thousands=",")),
                C("Hours on Site", "labor_hours", number(0.5, 6)),
                C("Rate/Hr", "labor_rate", number(80, 120)),
                C("Mileage Charge", "travel_amount", number(20, 90)),
                C("Invoice Total", None, number(200, 1_900)),
                C(
                    "Problem Description",
                    "notes",
                    texts("does not heat, replaced the probe", "scale in steam line, flushed it"),
                ),
            ],
            world=w,
        ),
        made(
            "SERVAUF.csv",
            "service_calls",
            [
                C("AUFNR", "call", counter("{:012d}", 800_001)),
                C("AUART", "kind", one_of(["REP", "INSP", "ENTKALKUNG"])),
                C("WERKS", None, always("0100")),
                C("SERIAL", "serial", serials()),
                C("ERDAT", "opened_on", days("%Y%m%d")),
                C("AUSDT", "failed_on", days("%Y%m%d", 0.3, nothing="00000000")),
                C("FERTDT", "completed_on", days("%Y%m%d", 0.1, nothing="00000000")),
                C("PARTNR", "agency", of("agencies")),
                C("URSCOD", "cause", of("causes", 0.2)),
                C("MATKOS", "parts_amount", number(20, 900, comma=True)),
                C("STDANZ", "labor_hours", number(0.5, 6, comma=True)),
                C("STDSTZ", "labor_rate", number(80, 120, comma=True)),
                C("FAHRTK", "travel_amount", number(20, 90, comma=True)),
                C(
                    "LTEXT",
                    "notes",
                    texts(
                        "Heizt nicht, Fühler getauscht", "Kalk im Dampfrohr, gespült und geprüft"
                    ),
                ),
            ],
            world=w,
            mark=";",
        ),
        made(
            "bons_travail.csv",
            "service_calls",
            [
                C("Bon de travail", "call", counter("BT-{:05d}", 60)),
                C(
                    "Demande de garantie",
                    "claim",
                    lambda w, n: [f"DG{60 + i}" if i % 2 else "" for i in range(n)],
                ),
                C("Matricule", "serial", serials()),
                C("Nature", "kind", one_of(["Réparation", "Visite", "Détartrage"])),
                C("Ouvert le", "opened_on", days("%d/%m/%Y")),
                C("Terminé le", "completed_on", days("%d/%m/%Y", 0.1)),
                C("Agence", "agency", of("agencies")),
                C("Réalisé par", "performed_by", one_of(["technicien", "client"])),
                C("Code défaut", "cause", of("causes", 0.2)),
                C("Pièce remplacée", "part", one_of(["joint", "sonde", "carte"], 0.2)),
                C("Coût pièces", "parts_amount", number(20, 900, comma=True, form="{} €")),
                C("Temps passé (h)", "labor_hours", number(0.5, 6, comma=True)),
                C("Déplacement", "travel_amount", number(20, 90, comma=True, form="{} €")),
                C(
                    "Commentaire",
                    "notes",
                    texts("ne chauffe plus, sonde changée", "tartre dans le tuyau, rincé"),
                ),
            ],
            world=w,
            mark=";",
            footers=["Total général;;;;;;;;;;1 234,50 €;;;"],
        ),
    ]


def laboratories(w: World) -> list[MadeExport]:
    """Water, wide and long."""
    return [
        made(
            "water_quality.csv",
            "water_tests",
            [
                C("Sample Ref", "sample", counter("WQ{:05d}", 4_000)),
                C("Unit Serial No", "serial", serials()),
                C("Sampling Point", "point", one_of(["Tap", "After treatment"])),
                C("Sampled", "sampled_on", days("%Y-%m-%d")),
                C("Reported", "reported_on", days("%Y-%m-%d")),
                C("pH", "ph", number(6.5, 8.6)),
                C("TDS", "tds_mg_l", number(100, 600, 0)),
                C("EC", "conductivity_us_cm", number(200, 900, 0)),
                C("T. Hardness", "hardness_mg_l_caco3", number(60, 300, 0)),
                C("T. Alk", "alkalinity_mg_l_caco3", number(60, 240, 0)),
                C("Free Cl2", "free_chlorine_mg_l", number(0, 1)),
                C("Tot Cl2", "total_chlorine_mg_l", number(0, 2)),
                C("Cl-", "chloride_mg_l", number(5, 90, 0)),
                C("SO4", "sulfate_mg_l", number(5, 90, 0)),
                C("SiO2", "silica_mg_l", number(2, 40, 1)),
                C("Fe", "iron_mg_l", number(0, 1, 3)),
                C("Mn", None, number(0, 1, 3)),
            ],
            world=w,
            unit_row=[
                "",
                "",
                "",
                "",
                "",
                "SU",
                "mg/L",
                "uS/cm",
                "mg/L as CaCO3",
                "mg/L as CaCO3",
                "mg/L",
                "mg/L",
                "mg/L",
                "mg/L",
                "mg/L",
                "mg/L",
                "mg/L",
            ],
        ),
        made(
            "Trinkwasserbefunde.csv",
            "water_tests",
            [
                C("Labornummer", "sample", counter("{:07d}", 2_400_100)),
                C("Auftraggeber", None, always("Dampfgarer Werke")),
                C("Kundennummer", "site", of("sites")),
                C("Herkunft der Probe", "point", one_of(["Rohwasser", "Enthärtet"])),
                C("Entnommen am", "sampled_on", days("%d.%m.%Y")),
                C("Untersuchung beendet", "reported_on", days("%d.%m.%Y")),
                C("pH-Wert bei 20 °C", "ph", number(6.5, 8.6, comma=True)),
                C(
                    "elektr. Leitfähigkeit (µS/cm)",
                    "conductivity_us_cm",
                    number(200, 900, 0, comma=True),
                ),
                C("Härte gesamt (°dH)", "hardness_mg_l_caco3", number(3, 22, 1, comma=True)),
                C("Calciumhärte (°dH)", "calcium_mg_l_caco3", number(2, 18, 1, comma=True)),
                C("freies Chlor (mg/l)", "free_chlorine_mg_l", number(0, 1, comma=True)),
                C("Kieselsäure als SiO2 (mg/l)", "silica_mg_l", number(2, 30, 1, comma=True)),
                C("Eisen, gesamt (µg/l)", "iron_mg_l", number(5, 300, 0, comma=True)),
            ],
            world=w,
            mark=";",
            encoding="cp1252",
        ),
        long_lab(
            "resultats_labo.csv",
            [
                C("N° dossier", None, counter("D{:05d}", 1)),
                C("N° échantillon", "sample", counter("25E{:05d}", 300)),
                C("Code site", "site", of("sites")),
                C("Nature de l'eau", "point", one_of(["Eau brute", "Eau adoucie"])),
                C("Date prélèvement", "sampled_on", days("%d/%m/%Y")),
                C("Date validation", "reported_on", days("%d/%m/%Y")),
            ],
            ("Paramètre", "Résultat", "Unité", "Remarque"),
            [
                ("pH", "unités pH", "ph", number(6.5, 8.6, comma=True)),
                (
                    "Titre hydrotimétrique (TH)",
                    "°fH",
                    "hardness_mg_l_caco3",
                    number(5, 40, comma=True),
                ),
                ("Chlorures", "mg/L", "chloride_mg_l", number(5, 80, comma=True)),
                ("Sulfates", "mg/L", "sulfate_mg_l", number(5, 80, comma=True)),
                ("Fer total", "µg/L", "iron_mg_l", number(5, 300, 0, comma=True)),
                ("Nitrates", "mg/L", None, number(1, 40, comma=True)),
            ],
            world=w,
            mark=";",
        ),
        long_lab(
            "EDD.csv",
            [
                C("LAB_SAMP_ID", "sample", counter("{:08d}", 7_700_000)),
                C("SITE_CD", "site", of("sites")),
                C("SAMP_TYPE", "point", one_of(["RAW", "TREATED"])),
                C("SAMP_DT", "sampled_on", days("%m/%d/%y")),
                C("RPT_DT", "reported_on", days("%m/%d/%y")),
            ],
            ("PARAM_NAME", "RESULT_VAL", "RESULT_UNIT", "LAB_FLAG"),
            [
                ("PH", "STD UNITS", "ph", number(6.5, 8.6)),
                ("TOTAL HARDNESS", "MG/L CACO3", "hardness_mg_l_caco3", number(40, 300, 0)),
                ("CHLORIDE", "MG/L", "chloride_mg_l", number(5, 80, 1)),
                ("SILICA", "MG/L", "silica_mg_l", number(2, 30, 1)),
                ("SPECIFIC CONDUCTANCE", "UMHOS/CM", "conductivity_us_cm", number(200, 900, 0)),
                ("NITRATE", "MG/L", None, number(1, 40, 1)),
            ],
            world=w,
        ),
    ]


def orders(w: World) -> list[MadeExport]:
    """Shops."""
    return [
        made(
            "webshop_orders.csv",
            "treatment_purchases",
            [
                C("Order #", "order", lambda w, n: [f"#{1_000 + i // 2}" for i in range(n)]),
                C("Line", "line", lambda w, n: [str(1 + i % 2) for i in range(n)]),
                C("Ordered At", "ordered_on", days("%Y-%m-%d %H:%M")),
                C("SKU", "product", of("products")),
                C("Product Title", None, one_of(["Softener, small", "Softener, large"])),
                C("Qty", "quantity", number(1, 4, 0)),
                C("Item Price", None, number(90, 900)),
                C("New/Used", "condition", one_of(["new", "used"])),
                C("Vendor", "seller", one_of(["MAKER-DIRECT", "KITCHENWARE CO"])),
                C("For Unit S/N", "serial", serials(empty=0.3)),
                C("Customer No", "site", of("sites")),
            ],
            world=w,
        ),
        made(
            "Auftragspositionen.csv",
            "treatment_purchases",
            [
                C("Belegnummer", "order", lambda w, n: [f"AB{70_000 + i // 3}" for i in range(n)]),
                C("Position", "line", lambda w, n: [str(10 * (1 + i % 3)) for i in range(n)]),
                C("Belegdatum", "ordered_on", days("%d.%m.%Y")),
                C("Artikel", "product", of("products")),
                C("Bezeichnung", None, one_of(["Enthärter klein", "Enthärter groß"])),
                C("Menge", "quantity", number(1, 4, 0)),
                C("ME", None, always("Stk")),
                C("Zustand", "condition", one_of(["neu", "gebraucht", "überholt"])),
                C("Lieferant", "seller", one_of(["WERK-DIREKT", "HÄNDLER SÜD"])),
                C("Warenempfänger", "site", of("sites")),
                C("Nettobetrag", None, number(90, 2_900, comma=True, thousands=".")),
            ],
            world=w,
            mark=";",
        ),
        made(
            "achats.csv",
            "treatment_purchases",
            [
                C(
                    "Bon de commande",
                    "order",
                    lambda w, n: [f"BC{5_000 + i // 2}" for i in range(n)],
                ),
                C("N° ligne", "line", lambda w, n: [str(1 + i % 2) for i in range(n)]),
                C("Date commande", "ordered_on", days("%d/%m/%Y")),
                C("Code produit", "product", of("products")),
                C("Quantité", "quantity", number(1, 4, 0)),
                C("Etat du produit", "condition", one_of(["neuf", "occasion"])),
                C("Fournisseur", "seller", one_of(["USINE", "REVENDEUR"])),
                C("N° client", "site", of("sites")),
                C("Montant HT", None, number(90, 900, comma=True)),
            ],
            world=w,
            mark=";",
        ),
    ]


def startups(w: World) -> list[MadeExport]:
    """Start-up reports."""
    return [
        made(
            "Commissioning Reports.csv",
            "startups",
            [
                C("Report No.", "report", counter("CR{:05d}", 1)),
                C("Unit S/N", "serial", serials()),
                C("Date Requested", "requested_on", days("%d/%m/%Y", 0.1)),
                C("Date Completed", "completed_on", days("%d/%m/%Y", 0.1)),
                C("Service Company", "agency", of("agencies")),
                C("Dynamic Pressure (kPa)", "flowing_pressure_psi", number(150, 450, 0)),
                C("Static Pressure (kPa)", "static_pressure_psi", number(200, 600, 0)),
                C("Supply Temp (°C)", "supply_temperature_f", number(8, 22, 0)),
                C("Gas Type", "gas", one_of(["Natural Gas", "Propane"])),
                C("Gas Pressure (kPa)", "gas_pressure_in_wc", number(1, 3, 2)),
                C("Clearance Sides (mm)", "side_clearance_in", number(40, 200, 0)),
                C("Unit Level (Y/N)", "level", one_of(["Y", "N"])),
                C("No. of Water Lines", "water_lines", one_of(["1", "2"])),
                C("Treatment Fitted", "treatment_product", of("products", 0.4)),
                C("Treatment Install Date", "treatment_installed_on", days("%d/%m/%Y", 0.4)),
                C(
                    "Comments",
                    "notes",
                    texts("commissioned without problems", "no hood yet, owner was told"),
                ),
            ],
            world=w,
        ),
        made(
            "mises_en_service.csv",
            "startups",
            [
                C("N° rapport", "report", counter("MES{:04d}", 1)),
                C("N° série", "serial", serials()),
                C("Demandé le", "requested_on", days("%d/%m/%Y")),
                C("Réalisé le", "completed_on", days("%d/%m/%Y", 0.1)),
                C("Agence", "agency", of("agencies")),
                C(
                    "Pression dynamique (bar)",
                    "flowing_pressure_psi",
                    number(1.5, 4.5, 1, comma=True),
                ),
                C("Pression statique (bar)", "static_pressure_psi", number(2, 6, 1, comma=True)),
                C("Température eau (°C)", "supply_temperature_f", number(8, 20, 0, comma=True)),
                C("Énergie", "gas", one_of(["Gaz naturel", "Propane", "Électrique"])),
                C("Niveau", "level", one_of(["oui", "non"])),
                C("Sous hotte", "under_hood", one_of(["oui", "non"])),
                C("Adoucisseur", "treatment_product", of("products", 0.4)),
                C(
                    "Remarques",
                    "notes",
                    texts("tout est conforme, personnel formé", "hotte absente, client informé"),
                ),
            ],
            world=w,
            mark=";",
        ),
    ]


def offices(w: World) -> list[MadeExport]:
    """Decisions and credits."""
    return [
        made(
            "Entscheidungen.csv",
            "rulings",
            [
                C("Antragsnummer", "claim", counter("GA{:04d}", 900)),
                C("Entschieden am", "ruled_at", days("%d.%m.%Y %H:%M")),
                C("Bearbeiter", "ruled_by", one_of(["R. Hale", "M. Oakes"])),
                C("Entscheidung", "ruling", one_of(["anerkannt", "abgelehnt", "teilweise"])),
                C(
                    "Begründung",
                    "reason",
                    texts(
                        "Kalk im Kessel und keine Enthärtung", "innerhalb der Frist, alles belegt"
                    ),
                ),
                C("Material bewilligt", "parts_amount", number(20, 300, comma=True)),
                C("Lohn bewilligt", "labor_amount", number(20, 300, comma=True)),
            ],
            world=w,
            mark=";",
        ),
        made(
            "credit_memos.csv",
            "credits",
            [
                C("Credit Memo No.", "credit", counter("CM-{:05d}", 200)),
                C("Posting Date", "credited_on", counted()),
                C("Warranty Claim No.", "claim", counter("C{:05d}", 7_000)),
                C("Parts", "parts_amount", number(-300, 300)),
                C("Labor", "labor_amount", number(-300, 300)),
                C("Travel", "travel_amount", number(-90, 90)),
                C("Currency Code", None, always("USD")),
                C("Total Amount", None, number(-600, 600)),
            ],
            world=w,
        ),
        made(
            "avoirs.csv",
            "credits",
            [
                C("N° avoir", "credit", counter("AV{:05d}", 20)),
                C("Date comptable", "credited_on", days("%d/%m/%Y")),
                C("Dossier garantie", "claim", counter("DG{:04d}", 60)),
                C("Pièces", "parts_amount", number(20, 300, comma=True)),
                C("Main d'œuvre", "labor_amount", number(20, 300, comma=True)),
                C("Déplacement", "travel_amount", number(20, 90, comma=True)),
            ],
            world=w,
            mark=";",
        ),
    ]
