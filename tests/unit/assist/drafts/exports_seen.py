"""The first half of the test set: exports on which the drafts were tried while they were made."""

from __future__ import annotations

from tests.unit.assist.drafts.export_makers import (
    Column as C,
)
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


def bare_number(serial: str) -> str:
    """A serial whose leading zeros a spreadsheet took."""
    return str(int(serial))


def exports(w: World) -> list[MadeExport]:
    """Eighteen files."""
    return [*registers(w), *calls(w), *laboratories(w), *orders(w), *startups(w), *offices(w)]


def registers(w: World) -> list[MadeExport]:
    """Installed bases."""
    return [
        made(
            "Installed_Base_2025-01-31.csv",
            "units",
            [
                C("Company Code", None, always("1000")),
                C("Equipment No.", None, counter("{:010d}", 10_000_001)),
                C("Serial Number", "serial", serials(once=True)),
                C("Material", "model", of("models")),
                C("List Price", None, number(8_000, 15_000)),
                C("Ship Date", "shipped_on", days("%m/%d/%Y")),
                C("Sold On", "purchased_on", days("%m/%d/%Y", 0.2)),
                C("Start-Up Date", "installed_on", days("%m/%d/%Y", 0.2)),
                C("Ship-To", "site", of("sites")),
                C("Ship-To Name", "site_name", of("names")),
                C("State", "region", one_of(["US-OR", "US-WA", "US-NM"])),
                C("ZIP", "postal_code", counter("{:05d}", 97_000)),
            ],
            world=w,
            titles=["Installed base,as of 2025-01-31", "", "Prepared by: back office"],
            footers=["Total: 60"],
        ),
        made(
            "GERAETE_20250131.csv",
            "units",
            [
                C("MANDT", None, always("100")),
                C("EQUNR", None, counter("{:018d}", 4_000_000)),
                C("SERNR", "serial", serials(once=True)),
                C("MATNR", "model", of("models")),
                C("MAKTX", None, one_of(["Dampfgarer 2-fach", "Dampfgarer 4-fach"])),
                C("WADAT", "shipped_on", days("%d.%m.%Y")),
                C("KAUFDT", "purchased_on", days("%d.%m.%Y", 0.3, nothing="00.00.0000")),
                C("INBDT", "installed_on", days("%d.%m.%Y", 0.3, nothing="00.00.0000")),
                C("KUNNR", "site", of("sites")),
                C("NAME1", "site_name", of("names")),
                C("PSTLZ", "postal_code", counter("{:05d}", 10_115)),
                C("NETPR", None, number(8_000, 15_000, comma=True, thousands=".")),
            ],
            world=w,
            mark=";",
            encoding="cp1252",
        ),
        made(
            "parc_installe.csv",
            "units",
            [
                C("N° de série", "serial", serials(once=True)),
                C("Modèle", "model", of("models")),
                C("Date d'expédition", "shipped_on", days("%d/%m/%Y")),
                C("Date d'achat", "purchased_on", days("%d/%m/%Y", 0.2)),
                C("Mise en service", "installed_on", days("%d/%m/%Y", 0.2)),
                C("Code client", "site", of("sites")),
                C("Nom du client", "site_name", of("names")),
                C("Code postal", "postal_code", counter("{:05d}", 69_001)),
                C("Remplace", "replaces", serials(empty=0.9)),
                C("Téléphone", None, counter("04 72 {:02d} 10 20", 10)),
            ],
            world=w,
            mark=";",
            titles=["Parc installé au 31/01/2025;;;;;;;;;"],
        ),
    ]


def calls(w: World) -> list[MadeExport]:
    """Field service."""
    return [
        made(
            "WorkOrders_2025.csv",
            "service_calls",
            [
                C("Work Order", "call", counter("WO-{:06d}", 4_500)),
                C("Status", None, always("Closed")),
                C(
                    "Warranty Claim #",
                    "claim",
                    lambda w, n: [f"C{7_000 + i}" if i % 3 else "" for i in range(n)],
                ),
                C("Asset Serial", "serial", serials(bare_number)),
                C("Work Type", "kind", one_of(["Repair", "PM", "Descale", "Filter Change"])),
                C("Created On", "opened_on", days("%Y-%m-%d %H:%M:%S")),
                C("Failure Date", "failed_on", days("%Y-%m-%d", 0.4)),
                C("Completed Date", "completed_on", days("%Y-%m-%d", 0.1)),
                C("Claim Submitted", "claimed_on", days("%Y-%m-%d", 0.4)),
                C("Service Provider", "agency", of("agencies")),
                C("Failure Code", "cause", of("causes", 0.3)),
                C("Parts Cost", "parts_amount", number(20, 900, form="${}", thousands=",")),
                C("Labor Hrs", "labor_hours", number(0.5, 6)),
                C("Hourly Rate", "labor_rate", number(80, 120)),
                C("Travel Charge", "travel_amount", number(20, 90)),
                C("Total", None, number(200, 1_900)),
                C(
                    "Technician Notes",
                    "notes",
                    texts("no steam, replaced board and tested", "lime in the boiler, cleaned"),
                ),
            ],
            world=w,
        ),
        made(
            "Kundendienst_Auftraege.csv",
            "service_calls",
            [
                C("Auftragsnr.", "call", counter("{:08d}", 30_000_100)),
                C(
                    "Garantieantrag",
                    "claim",
                    lambda w, n: [f"GA{900 + i}" if i % 2 else "" for i in range(n)],
                ),
                C("Werk", None, always("1000")),
                C("Seriennummer", "serial", serials()),
                C(
                    "Auftragsart",
                    "kind",
                    one_of(["Reparatur", "Wartung", "Entkalkung", "Kartuschenwechsel"]),
                ),
                C("Meldedatum", "opened_on", days("%d.%m.%Y")),
                C("Störungsdatum", "failed_on", days("%d.%m.%Y", 0.3)),
                C("Erledigt am", "completed_on", days("%d.%m.%Y", 0.1)),
                C("Servicepartner", "agency", of("agencies")),
                C("Ausgeführt von", "performed_by", one_of(["Techniker", "Betreiber"])),
                C("Ursachencode", "cause", of("causes", 0.2)),
                C("Ersatzteil", "part", one_of(["Dichtung", "Platine", "Fühler"], 0.3)),
                C("Materialkosten", "parts_amount", number(20, 2_900, comma=True, thousands=".")),
                C("Arbeitszeit (Std.)", "labor_hours", number(0.5, 6, comma=True)),
                C("Stundensatz", "labor_rate", number(80, 120, comma=True)),
                C("Anfahrt", "travel_amount", number(20, 90, comma=True)),
                C(
                    "Bemerkung",
                    "notes",
                    texts(
                        "Kessel verkalkt, gereinigt und geprüft", "Platine getauscht, läuft wieder"
                    ),
                ),
            ],
            world=w,
            mark=";",
            encoding="cp1252",
            footers=["Summe;;;;;;;;;;;;1.234,50;;;;"],
        ),
        made(
            "interventions.csv",
            "service_calls",
            [
                C("N° intervention", "call", counter("INT{:05d}", 800)),
                C(
                    "N° garantie",
                    "claim",
                    lambda w, n: [f"G{300 + i}" if i % 2 else "" for i in range(n)],
                ),
                C("N° série appareil", "serial", serials()),
                C(
                    "Type d'intervention",
                    "kind",
                    one_of(["Dépannage", "Entretien", "Détartrage", "Changement cartouche"]),
                ),
                C("Date d'appel", "opened_on", days("%d/%m/%Y")),
                C("Date de panne", "failed_on", days("%d/%m/%Y", 0.3)),
                C("Date de clôture", "completed_on", days("%d/%m/%Y", 0.1)),
                C("Prestataire", "agency", of("agencies")),
                C("Cause", "cause", of("causes", 0.2)),
                C("Pièces (€)", "parts_amount", number(20, 900, comma=True)),
                C("Heures MO", "labor_hours", number(0.5, 6, comma=True)),
                C("Taux horaire", "labor_rate", number(80, 120, comma=True)),
                C("Frais de déplacement", "travel_amount", number(20, 90, comma=True)),
                C(
                    "Observations",
                    "notes",
                    texts("chaudière entartrée, nettoyée", "joint remplacé et essai conforme"),
                ),
            ],
            world=w,
            mark=";",
        ),
    ]


def laboratories(w: World) -> list[MadeExport]:
    """Water, wide and long."""
    return [
        made(
            "lab_results_wide.csv",
            "water_tests",
            [
                C("Lab No.", "sample", counter("L{:06d}", 51_000)),
                C("Client", None, always("STEAM KITCHENS LTD")),
                C("Location Code", "site", of("sites")),
                C("Sample Point", "point", one_of(["Raw", "Softened"])),
                C("Date Collected", "sampled_on", days("%d-%b-%Y")),
                C("Date Reported", "reported_on", days("%d-%b-%Y")),
                C("pH (SU)", "ph", number(6.5, 8.6)),
                C("Conductivity (uS/cm)", "conductivity_us_cm", number(200, 900, 0)),
                C("Total Hardness (gpg)", "hardness_mg_l_caco3", number(3, 22, 1)),
                C("Alkalinity (mg/L as CaCO3)", "alkalinity_mg_l_caco3", number(60, 240, 0)),
                C("Free Chlorine (mg/L)", "free_chlorine_mg_l", number(0, 1)),
                C("Chloride (mg/L)", "chloride_mg_l", number(5, 90, 0)),
                C("Turbidity (NTU)", None, number(0, 2)),
                C("Silica as SiO2 (ppm)", "silica_mg_l", number(2, 40, 1)),
                C("Iron (ug/L)", "iron_mg_l", number(5, 300, 0)),
                C("Temp (F)", "temperature_c", number(50, 68, 0)),
            ],
            world=w,
            titles=["Certificate of analysis", "Report run 2025-02-01", ""],
        ),
        made(
            "Wasseranalysen.csv",
            "water_tests",
            [
                C("Probennr.", "sample", counter("P-{:05d}", 700)),
                C("Standort", "site", of("sites")),
                C(
                    "Entnahmestelle",
                    "point",
                    one_of(["Rohwasser", "nach Enthärtung behandelt", "Weichwasser"]),
                ),
                C("Probenahmedatum", "sampled_on", days("%d.%m.%Y")),
                C("Berichtsdatum", "reported_on", days("%d.%m.%Y")),
                C("Labor", "lab", always("Wasserlabor Nord")),
                C("pH-Wert", "ph", number(6.5, 8.6, comma=True)),
                C("Leitfähigkeit [µS/cm]", "conductivity_us_cm", number(200, 900, 0, comma=True)),
                C("Gesamthärte [°dH]", "hardness_mg_l_caco3", number(3, 22, 1, comma=True)),
                C("Chlorid [mg/l]", "chloride_mg_l", number(5, 90, 1, comma=True)),
                C("Sulfat [mg/l]", "sulfate_mg_l", number(5, 90, 1, comma=True)),
                C("Eisen [mg/l]", "iron_mg_l", number(0, 1, 3, comma=True)),
                C("Nitrat [mg/l]", None, number(1, 40, 1, comma=True)),
                C("Wassertemperatur [°C]", "temperature_c", number(8, 18, 1, comma=True)),
            ],
            world=w,
            mark=";",
            encoding="cp1252",
        ),
        made(
            "analyses_eau.csv",
            "water_tests",
            [
                C("Référence échantillon", "sample", counter("E{:05d}", 900)),
                C("N° de série", "serial", serials()),
                C("Point de prélèvement", "point", one_of(["Eau brute", "Eau adoucie"])),
                C("Prélevé le", "sampled_on", days("%d/%m/%Y")),
                C("Date du rapport", "reported_on", days("%d/%m/%Y")),
                C("Laboratoire", "lab", one_of(["Labo Ouest", "Labo Sud"])),
                C("pH", "ph", number(6.5, 8.6, comma=True)),
                C("TH (°fH)", "hardness_mg_l_caco3", number(5, 40, 1, comma=True)),
                C("TAC (°fH)", "alkalinity_mg_l_caco3", number(5, 30, 1, comma=True)),
                C("Chlorures (mg/L)", "chloride_mg_l", number(5, 90, 1, comma=True)),
                C("Chlore libre (mg/L)", "free_chlorine_mg_l", number(0, 1, comma=True)),
                C("Silice (mg/L SiO2)", "silica_mg_l", number(2, 30, comma=True)),
            ],
            world=w,
            mark=";",
        ),
        long_lab(
            "LIMS_export.csv",
            [
                C("Sample ID", "sample", counter("S{:06d}", 31_000)),
                C("Client ID", "site", of("sites")),
                C("Matrix", None, always("Water")),
                C("Sampling Location", "point", one_of(["Inlet", "Outlet"])),
                C("Collection Date", "sampled_on", days("%m/%d/%Y")),
                C("Analysis Date", "reported_on", days("%m/%d/%Y")),
            ],
            ("Analyte", "Result", "Units", "Qualifier"),
            [
                ("pH", "SU", "ph", number(6.5, 8.6)),
                ("Hardness, Total", "mg/L as CaCO3", "hardness_mg_l_caco3", number(40, 300, 0)),
                ("Calcium", "mg/L", "calcium_mg_l_caco3", number(10, 90, 1)),
                ("Chloride", "mg/L", "chloride_mg_l", number(5, 80, 1)),
                ("Chlorine, Free", "mg/L", "free_chlorine_mg_l", number(0, 1)),
                ("Turbidity", "NTU", None, number(0, 2)),
            ],
            world=w,
            titles=["LIMS export", ""],
        ),
        long_lab(
            "Laborwerte.csv",
            [
                C("Auftrag", None, counter("{:07d}", 2_000_000)),
                C("Probe", "sample", counter("24-{:05d}", 100)),
                C("Objekt", "site", of("sites")),
                C("Wasserart", "point", one_of(["Rohwasser", "Weichwasser"])),
                C("Entnahme", "sampled_on", days("%d.%m.%Y")),
                C("Befund vom", "reported_on", days("%d.%m.%Y")),
            ],
            ("Parameter", "Messwert", "Einheit", "Bemerkung"),
            [
                ("pH-Wert", "-", "ph", number(6.5, 8.6, comma=True)),
                ("Gesamthärte", "°dH", "hardness_mg_l_caco3", number(3, 22, comma=True)),
                (
                    "Leitfähigkeit bei 25 °C",
                    "µS/cm",
                    "conductivity_us_cm",
                    number(200, 900, 0, comma=True),
                ),
                ("Chlorid", "mg/l", "chloride_mg_l", number(5, 80, comma=True)),
                ("Eisen", "mg/l", "iron_mg_l", number(0, 1, comma=True)),
                ("Nitrat", "mg/l", None, number(1, 40, comma=True)),
            ],
            world=w,
            mark=";",
            encoding="cp1252",
        ),
    ]


def orders(w: World) -> list[MadeExport]:
    """Shops."""
    return [
        made(
            "Sales Orders 2025-03-31.csv",
            "treatment_purchases",
            [
                C("Document No.", "order", lambda w, n: [f"SO{8_000 + i // 2}" for i in range(n)]),
                C("Line No.", "line", lambda w, n: [str(10_000 * (1 + i % 2)) for i in range(n)]),
                C("Order Date", "ordered_on", days("%m/%d/%Y")),
                C("Item No.", "product", of("products")),
                C(
                    "Description",
                    None,
                    one_of(["Softener, small", "Softener, large", "Carbon filter"]),
                ),
                C("Quantity", "quantity", number(1, 4, 0)),
                C("Unit Price", None, number(90, 900)),
                C("Item Condition", "condition", one_of(["NEW", "REFURB", "USED"])),
                C("Sold By", "seller", one_of(["MAKER-DIRECT", "KITCHENWARE CO"])),
                C("Ship-to Code", "site", of("sites")),
            ],
            world=w,
        ),
        made(
            "BESTELL.csv",
            "treatment_purchases",
            [
                C("BUKRS", None, always("1000")),
                C("BESTNR", "order", lambda w, n: [f"45{i // 3:08d}" for i in range(n)]),
                C("POSNR", "line", lambda w, n: [f"{10 * (1 + i % 3):05d}" for i in range(n)]),
                C("BESTDT", "ordered_on", days("%Y%m%d")),
                C("ARTNR", "product", of("products")),
                C("MENGE", "quantity", number(1, 4, 0)),
                C("MEINS", None, always("ST")),
                C("ZUSTND", "condition", one_of(["NEU", "GEBR"])),
                C("LIEFNR", "seller", one_of(["100200", "100300"])),
                C("KUNDNR", "site", of("sites")),
                C("NETWRT", None, number(90, 900, comma=True)),
            ],
            world=w,
            mark=";",
        ),
        made(
            "commandes_web.csv",
            "treatment_purchases",
            [
                C("N° commande", "order", lambda w, n: [f"W{5_000 + i // 2}" for i in range(n)]),
                C("Ligne", "line", lambda w, n: [str(1 + i % 2) for i in range(n)]),
                C("Date de commande", "ordered_on", days("%d/%m/%Y %H:%M")),
                C("Référence article", "product", of("products")),
                C("Qté", "quantity", number(1, 4, 0)),
                C("État", "condition", one_of(["neuf", "occasion"])),
                C("Vendeur", "seller", one_of(["BOUTIQUE", "REVENDEUR SUD"])),
                C("Client livré", "site", of("sites")),
                C("Prix TTC", None, number(90, 900, comma=True)),
            ],
            world=w,
            mark=";",
        ),
    ]


def startups(w: World) -> list[MadeExport]:
    """Start-up reports."""
    return [
        made(
            "startup_forms.csv",
            "startups",
            [
                C("Form #", "report", counter("F-{:05d}", 1_200)),
                C("Serial #", "serial", serials(bare_number)),
                C("Requested", "requested_on", counted(0.1)),
                C("Completed", "completed_on", counted(0.1)),
                C("Agency", "agency", of("agencies")),
                C("Flowing Pressure", "flowing_pressure_psi", number(20, 70, 0, "{} psi")),
                C("Static Pressure", "static_pressure_psi", number(30, 90, 0, "{} psi")),
                C("Water Temp", "supply_temperature_f", number(45, 75, 0, "{} F")),
                C("Fuel", "gas", one_of(["NG", "LP", "Electric"])),
                C("Manifold Pressure (in WC)", "gas_pressure_in_wc", number(4, 12, 1)),
                C("Drain Air Gap", "drain_air_gap_in", number(1, 4, 1, '{}"')),
                C("Level?", "level", one_of(["Y", "N"])),
                C("Under Hood?", "under_hood", one_of(["Y", "N"])),
                C("Water Sample Taken", "sample_taken", one_of(["X", ""])),
                C("Softener Model", "treatment_product", of("products", 0.4)),
                C(
                    "Remarks",
                    "notes",
                    texts("all well, staff trained on site", "hood missing, told the owner"),
                ),
            ],
            world=w,
        ),
        made(
            "Inbetriebnahmen.csv",
            "startups",
            [
                C("Protokollnr.", "report", counter("IB{:05d}", 400)),
                C("Gerätenummer", "serial", serials()),
                C("Angemeldet am", "requested_on", days("%d.%m.%Y")),
                C("Durchgeführt am", "completed_on", days("%d.%m.%Y", 0.1)),
                C("Kundendienstpartner", "agency", of("agencies")),
                C("Fließdruck (bar)", "flowing_pressure_psi", number(1.5, 4.5, 1, comma=True)),
                C("Ruhedruck (bar)", "static_pressure_psi", number(2, 6, 1, comma=True)),
                C("Gasart", "gas", one_of(["Erdgas", "Propan", "Elektro"])),
                C("Gasdruck [mbar]", "gas_pressure_in_wc", number(18, 24, 0, comma=True)),
                C("Wandabstand seitlich [mm]", "side_clearance_in", number(40, 200, 0, comma=True)),
                C("Waagerecht", "level", one_of(["ja", "nein"])),
                C("Wasserprobe genommen", "sample_taken", one_of(["ja", "nein"])),
                C(
                    "Bemerkungen",
                    "notes",
                    texts(
                        "alles in Ordnung, Personal eingewiesen",
                        "Haube fehlt noch, Betreiber informiert",
                    ),
                ),
            ],
            world=w,
            mark=";",
            encoding="cp1252",
        ),
    ]


def offices(w: World) -> list[MadeExport]:
    """Decisions and credits."""
    return [
        made(
            "claim decisions.csv",
            "rulings",
            [
                C("Claim No", "claim", counter("C{:05d}", 7_000)),
                C("Decision Date/Time", "ruled_at", days("%Y-%m-%d %H:%M:%S")),
                C("Adjuster", "ruled_by", one_of(["R. Hale", "M. Oakes"])),
                C("Decision", "ruling", one_of(["Approved", "Denied", "Partial"])),
                C(
                    "Explanation",
                    "reason",
                    texts(
                        "scale in the boiler and no treatment",
                        "within the window, all documents there",
                    ),
                ),
                C("Parts Approved", "parts_amount", number(20, 300)),
                C("Labor Approved", "labor_amount", number(20, 300)),
                C("Travel Approved", "travel_amount", number(20, 90)),
            ],
            world=w,
        ),
        made(
            "Gutschriften.csv",
            "credits",
            [
                C("Gutschrift Nr.", "credit", counter("GS{:06d}", 40)),
                C("Garantiefall", "claim", counter("GA{:03d}", 900)),
                C("Buchungsdatum", "credited_on", days("%d.%m.%Y")),
                C("Material EUR", "parts_amount", number(20, 300, comma=True)),
                C("Arbeit EUR", "labor_amount", number(20, 300, comma=True)),
                C("Fahrt EUR", "travel_amount", number(20, 90, comma=True)),
                C("Sachbearbeiter", None, one_of(["Hale", "Oakes"])),
            ],
            world=w,
            mark=";",
        ),
    ]
