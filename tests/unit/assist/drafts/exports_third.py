"""The third set: exports written apart from drafts and their words, and tried for figures alone.

Their register is another one, with letters in its serials. First figures are in DEVELOPERS.md.
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


class OtherWorld(World):
    """Another company: serials of letters and digits, sites by name, agencies by number."""

    def __init__(self, seed: int) -> None:
        super().__init__(seed)
        draw = self.random
        letters = "ABCDEFGH"
        self.serials = sorted(
            {
                f"{draw.choice(letters)}{draw.choice(letters)}{draw.randrange(10_000, 99_999)}"
                for _ in range(150)
            }
        )
        self.sites = [f"{draw.randrange(200_000, 299_999)}-{n % 4:02d}" for n in range(50)]
        self.agencies = ["V1007", "V1013", "V1020", "V2044"]
        self.products = ["HARDEX 8", "HARDEX 16", "CHLOREX", "MEMBRA-2", "HARDEX REFILL"]
        self.models = ["KD4", "KD6", "KD6-G", "ROMA 2"]
        self.causes = ["LIME", "SEAL", "PCB", "LEVEL-PROBE", "IGNITER", "MISUSE"]


def upper(serial: str) -> str:
    """A serial with a blank, as type plates have it."""
    return f"{serial[:2]} {serial[2:]}"


def exports(w: World) -> list[MadeExport]:
    """Sixteen files in three dialects."""
    return [*english(w), *german(w), *french(w)]


def english(w: World) -> list[MadeExport]:
    """ERP short names, field service, laboratory, shop."""
    return [
        made(
            "INSTBASE_EXTRACT.txt",
            "units",
            [
                C("CLIENT", None, always("100")),
                C("EQUIP_NO", None, counter("{:08d}", 10_000_421, 3)),
                C("SERIAL_NO", "serial", serials(once=True)),
                C("MATL_NO", "model", of("models")),
                C("MATL_DESC", None, one_of(["Steamer, 4 pan", "Steamer, 6 pan", "Steamer gas"])),
                C("GI_DATE", "shipped_on", days("%m/%d/%Y")),
                C("BILL_DATE", "purchased_on", days("%m/%d/%Y", 0.1)),
                C("STARTUP_DATE", "installed_on", days("%m/%d/%Y", 0.3)),
                C("SHIP_TO", "site", of("sites")),
                C("SHIP_TO_NAME", "site_name", of("names")),
                C("ZIP", "postal_code", counter("{:05d}", 4_101, 7)),
                C("NET_PRICE", None, number(3_000, 12_000)),
            ],
            world=w,
            mark="|",
            titles=["Installed base extract|run 2025-02-03 by JOBUSR", ""],
        ),
        made(
            "Work Orders Q1.csv",
            "service_calls",
            [
                C("WO #", "call", counter("WO-{:06d}", 51_200)),
                C(
                    "WO Type",
                    "kind",
                    one_of(["Repair", "Delime", "Install Treatment", "Inspection"]),
                ),
                C("Priority", None, one_of(["P1", "P2", "P3"])),
                C("Unit Serial", "serial", serials(upper)),
                C("Date Created", "opened_on", days("%m/%d/%Y")),
                C("Date of Failure", "failed_on", days("%m/%d/%Y", 0.4)),
                C("Date Closed", "completed_on", days("%m/%d/%Y", 0.1)),
                C("Claim Ref", "claim", counter("CLM{:05d}", 300, 2)),
                C("Claim Received", "claimed_on", days("%m/%d/%Y", 0.4)),
                C("Servicer", "agency", of("agencies")),
                C("Tech Name", None, one_of(["J. Aldous", "P. Marrow", "K. Teal"])),
                C("Failure Code", "cause", of("causes")),
                C("Parts Total", "parts_amount", number(0, 400)),
                C("Labor Hrs", "labor_hours", number(0.5, 6, 1)),
                C("Hourly Rate", "labor_rate", number(80, 110, 0)),
                C("Trip Charge", "travel_amount", number(20, 90)),
                C("Tech Notes", "notes", texts("No steam, tank limed.", "Replaced door seal.", "")),
            ],
            world=w,
        ),
        made(
            "startup_forms.csv",
            "startups",
            [
                C("Form ID", "report", counter("SF{:05d}", 900)),
                C("Submitted", None, days("%Y-%m-%d %H:%M:%S")),
                C("S/N", "serial", serials()),
                C("Start-up Requested", "requested_on", days("%Y-%m-%d")),
                C("Start-up Performed", "completed_on", days("%Y-%m-%d", 0.2)),
                C("Agency No.", "agency", of("agencies")),
                C("Water Pressure (flowing) psi", "flowing_pressure_psi", number(20, 70, 0)),
                C("Water Pressure (static) psi", "static_pressure_psi", number(40, 90, 0)),
                C("Incoming Water Temp F", "supply_temperature_f", number(45, 110, 0)),
                C("Fuel", "gas", one_of(["Natural", "Propane", "None"])),
                C("Manifold in WC", "gas_pressure_in_wc", number(3, 14, 1, empty=0.4)),
                C("Air Gap at Drain (in)", "drain_air_gap_in", number(0.5, 3, 1)),
                C("Unit Level?", "level", one_of(["Y", "N"])),
                C("Under Hood?", "under_hood", one_of(["Y", "N"])),
                C("# Water Lines", "water_lines", one_of(["1", "2"])),
                C("Water Sample Taken?", "sample_taken", one_of(["Y", "N"])),
                C("Comments", "notes", texts("All good.", "Customer to fit softener.", "")),
            ],
            world=w,
        ),
        made(
            "lab_wide.csv",
            "water_tests",
            [
                C("Lab ID", "sample", counter("WL-{:05d}", 40_000)),
                C("Client", None, always("Steam cookers")),
                C("Location ID", "site", of("sites")),
                C("Tap", "point", one_of(["supply", "treated"])),
                C("Collected", "sampled_on", days("%d-%b-%Y")),
                C("Reported", "reported_on", days("%d-%b-%Y")),
                C("pH (SU)", "ph", number(6.6, 8.6, 1)),
                C("Sp. Cond. (uS/cm)", "conductivity_us_cm", number(150, 900, 0)),
                C("T. Hardness (gpg)", "hardness_mg_l_caco3", number(2, 25, 1)),
                C("Alkalinity as CaCO3 (mg/L)", "alkalinity_mg_l_caco3", number(40, 250, 0)),
                C("Chloride (mg/L)", "chloride_mg_l", number(4, 90, 0)),
                C("Free Cl2 (mg/L)", "free_chlorine_mg_l", number(0, 2, 2)),
                C("Total Cl2 (mg/L)", "total_chlorine_mg_l", number(0, 3, 2)),
                C("SiO2 (mg/L)", "silica_mg_l", number(2, 30, 1)),
                C("Fe (mg/L)", "iron_mg_l", number(0, 0.4, 2)),
                C("Turbidity (NTU)", None, number(0, 2, 1)),
            ],
            world=w,
        ),
        made(
            "order_lines_export.csv",
            "treatment_purchases",
            [
                C("Order Number", "order", lambda w, n: [f"SO{7_000 + i // 2}" for i in range(n)]),
                C("Ln", "line", lambda w, n: [str(i % 2 + 1) for i in range(n)]),
                C("Booked", "ordered_on", days("%m/%d/%Y")),
                C("Part Number", "product", of("products")),
                C("Part Description", None, one_of(["Softener", "Carbon filter", "Membrane"])),
                C("Qty Ord", "quantity", one_of(["1", "2", "3"])),
                C("Unit Price", None, number(100, 900)),
                C("Cond.", "condition", one_of(["New", "Used", "Refurbished"])),
                C("Sold By", "seller", one_of(["DIRECT", "HARLOW SUPPLY"])),
                C("Ship-To Code", "site", of("sites")),
            ],
            world=w,
        ),
        made(
            "adjudications.csv",
            "rulings",
            [
                C("Claim Ref", "claim", counter("CLM{:05d}", 300, 2)),
                C("Decision Date", "ruled_at", days("%Y-%m-%dT08:15:00")),
                C("Adjudicator", "ruled_by", one_of(["M. Orr", "T. Vane"])),
                C("Decision", "ruling", one_of(["covered", "not covered", "covered in part"])),
                C("Rationale", "reason", texts("As found.", "Goodwill for a first failure.")),
            ],
            world=w,
        ),
    ]


def german(w: World) -> list[MadeExport]:
    """Short names of an ERP, field service, laboratory, shop."""
    return [
        made(
            "EQUIBESTAND.csv",
            "units",
            [
                C("MANDT", None, always("200")),
                C("SERNR", "serial", serials(once=True)),
                C("MATNR", "model", of("models")),
                C("MAKTX", None, one_of(["Dampfgarer 4", "Dampfgarer 6"])),
                C("AUSLDT", "shipped_on", days("%d.%m.%Y")),
                C("FKDAT", "purchased_on", days("%d.%m.%Y", 0.2)),
                C("INBDT", "installed_on", days("%d.%m.%Y", 0.3)),
                C("KUNWE", "site", of("sites")),
                C("NAME1", "site_name", of("names")),
                C("PSTLZ", "postal_code", counter("{:05d}", 1_067, 11)),
            ],
            world=w,
            mark=";",
            encoding="cp1252",
        ),
        made(
            "Einsatzberichte.csv",
            "service_calls",
            [
                C("Einsatznummer", "call", counter("E{:06d}", 9_100)),
                C("Einsatzart", "kind", one_of(["Reparatur", "Entkalkung", "Inspektion"])),
                C("Gerätenummer", "serial", serials()),
                C("Meldedatum", "opened_on", days("%d.%m.%Y")),
                C("Ausfall am", "failed_on", days("%d.%m.%Y", 0.4)),
                C("Erledigt am", "completed_on", days("%d.%m.%Y", 0.1)),
                C("Antragsnummer", "claim", counter("GA{:05d}", 80, 2)),
                C("Antrag vom", "claimed_on", days("%d.%m.%Y", 0.4)),
                C("Servicepartner", "agency", of("agencies")),
                C("Fehlerursache", "cause", of("causes")),
                C("Materialkosten", "parts_amount", number(0, 1_400, 2, comma=True, thousands=".")),
                C("Arbeitszeit (h)", "labor_hours", number(0.5, 6, 2, comma=True)),
                C("Stundensatz", "labor_rate", number(70, 110, 2, comma=True)),
                C("Fahrtkosten", "travel_amount", number(10, 90, 2, comma=True)),
                C("Bemerkung", "notes", texts("Heizung verkalkt.", "Dichtung erneuert.", "")),
            ],
            world=w,
            mark=";",
            encoding="cp1252",
            footers=["Summe;;;;;;;;;;12.345,67;;;;"],
        ),
        made(
            "Inbetriebnahmen.csv",
            "startups",
            [
                C("Protokoll-Nr.", "report", counter("IB-{:04d}", 700)),
                C("Serien-Nr.", "serial", serials(upper)),
                C("Angefordert", "requested_on", days("%d.%m.%Y")),
                C("Durchgeführt", "completed_on", days("%d.%m.%Y", 0.2)),
                C("Kundendienst", "agency", of("agencies")),
                C("Fließdruck (bar)", "flowing_pressure_psi", number(1.5, 5, 1, comma=True)),
                C("Ruhedruck (bar)", "static_pressure_psi", number(3, 6, 1, comma=True)),
                C("Zulauftemperatur (°C)", "supply_temperature_f", number(8, 40, 0, comma=True)),
                C("Waagerecht", "level", one_of(["ja", "nein"])),
                C("Wasserprobe entnommen", "sample_taken", one_of(["ja", "nein"])),
                C("Bemerkungen", "notes", texts("Alles in Ordnung.", "Enthärter empfohlen.", "")),
            ],
            world=w,
            mark=";",
        ),
        long_lab(
            "Pruefbericht_export.csv",
            [
                C("Probennummer", "sample", counter("P25-{:05d}", 120)),
                C("Standort-Nr.", "site", of("sites")),
                C("Entnahmestelle", "point", one_of(["Zulauf", "Aufbereitet"])),
                C("Entnahme am", "sampled_on", days("%d.%m.%Y")),
                C("Bericht vom", "reported_on", days("%d.%m.%Y")),
            ],
            ("Prüfparameter", "Messwert", "Dimension", "Kennz."),
            [
                ("pH-Wert", "-", "ph", number(6.5, 8.6, comma=True)),
                ("Gesamthärte", "°dH", "hardness_mg_l_caco3", number(3, 25, comma=True)),
                ("Leitfähigkeit", "µS/cm", "conductivity_us_cm", number(200, 900, 0)),
                ("Chlorid", "mg/l", "chloride_mg_l", number(5, 80, comma=True)),
                ("Sulfat", "mg/l", "sulfate_mg_l", number(5, 80, comma=True)),
                ("Eisen, gesamt", "mg/l", "iron_mg_l", number(0, 0.4, comma=True)),
                ("Nitrat", "mg/l", None, number(1, 40, comma=True)),
            ],
            world=w,
            mark=";",
        ),
        made(
            "Shop-Bestellungen.csv",
            "treatment_purchases",
            [
                C("Bestell-Nr.", "order", counter("B{:06d}", 33_000)),
                C("Pos.", "line", always("10")),
                C("Bestelldatum", "ordered_on", days("%d.%m.%Y")),
                C("Artikelnummer", "product", of("products")),
                C("Bezeichnung", None, one_of(["Enthärter", "Aktivkohle"])),
                C("Menge", "quantity", one_of(["1", "2"])),
                C("Zustand", "condition", one_of(["neu", "gebraucht"])),
                C("Lieferanschrift-Nr.", "site", of("sites")),
                C("Endpreis", None, number(90, 900, 2, comma=True)),
            ],
            world=w,
            mark=";",
        ),
    ]


def french(w: World) -> list[MadeExport]:
    """The same in French."""
    return [
        made(
            "parc_installe.csv",
            "units",
            [
                C("Société", None, always("FR01")),
                C("N° de série", "serial", serials(once=True)),
                C("Type d'appareil", "model", of("models")),
                C("Date d'expédition", "shipped_on", days("%d/%m/%Y")),
                C("Date de facture", "purchased_on", days("%d/%m/%Y", 0.2)),
                C("Date de mise en service", "installed_on", days("%d/%m/%Y", 0.3)),
                C("Code client livré", "site", of("sites")),
                C("Nom du site", "site_name", of("names")),
                C("CP", "postal_code", counter("{:05d}", 69_001, 13)),
            ],
            world=w,
            mark=";",
        ),
        made(
            "interventions_SAV.csv",
            "service_calls",
            [
                C("N° BI", "call", counter("BI{:06d}", 2_500)),
                C("Nature", "kind", one_of(["Réparation", "Détartrage", "Visite"])),
                C("Série appareil", "serial", serials()),
                C("Date d'appel", "opened_on", days("%d/%m/%Y")),
                C("Date de panne", "failed_on", days("%d/%m/%Y", 0.4)),
                C("Date de clôture", "completed_on", days("%d/%m/%Y", 0.1)),
                C("N° demande garantie", "claim", counter("DG{:05d}", 60, 2)),
                C("Date de la demande", "claimed_on", days("%d/%m/%Y", 0.4)),
                C("Station technique", "agency", of("agencies")),
                C("Cause panne", "cause", of("causes")),
                C("Montant pièces HT", "parts_amount", number(0, 400, 2, comma=True)),
                C("Temps passé (h)", "labor_hours", number(0.5, 6, 2, comma=True)),
                C("Taux horaire", "labor_rate", number(60, 100, 2, comma=True)),
                C("Frais de déplacement", "travel_amount", number(10, 90, 2, comma=True)),
                C("Observations", "notes", texts("Résistance entartrée.", "Joint changé.", "")),
            ],
            world=w,
            mark=";",
        ),
        made(
            "mises_en_service.csv",
            "startups",
            [
                C("N° fiche", "report", counter("MS{:05d}", 10)),
                C("N° série", "serial", serials()),
                C("Demandée le", "requested_on", days("%d/%m/%Y")),
                C("Réalisée le", "completed_on", counted(0.2)),
                C("Station", "agency", of("agencies")),
                C(
                    "Pression dynamique (bar)",
                    "flowing_pressure_psi",
                    number(1.5, 5, 1, comma=True),
                ),
                C("Pression statique (bar)", "static_pressure_psi", number(3, 6, 1, comma=True)),
                C("Temp. eau (°C)", "supply_temperature_f", number(8, 40, 0, comma=True)),
                C("De niveau", "level", one_of(["oui", "non"])),
                C("Sous hotte", "under_hood", one_of(["oui", "non"])),
                C("Prélèvement eau", "sample_taken", one_of(["oui", "non"])),
            ],
            world=w,
            mark=";",
        ),
        made(
            "analyses_eau.csv",
            "water_tests",
            [
                C("Réf. labo", "sample", counter("A{:06d}", 5_500)),
                C("Réf. site", "site", of("sites")),
                C("Point de prélèvement", "point", one_of(["arrivée", "traitée"])),
                C("Prélevé le", "sampled_on", days("%d/%m/%Y")),
                C("Rendu le", "reported_on", days("%d/%m/%Y")),
                C("pH", "ph", number(6.6, 8.6, 1, comma=True)),
                C("Conductivité (µS/cm)", "conductivity_us_cm", number(150, 900, 0)),
                C("TH (°f)", "hardness_mg_l_caco3", number(5, 40, 1, comma=True)),
                C("Chlorures (mg/L)", "chloride_mg_l", number(4, 90, 1, comma=True)),
                C("Chlore libre (mg/L)", "free_chlorine_mg_l", number(0, 2, 2, comma=True)),
                C("Chlore total (mg/L)", "total_chlorine_mg_l", number(0, 3, 2, comma=True)),
                C("Fer (mg/L)", "iron_mg_l", number(0, 0.4, 2, comma=True)),
            ],
            world=w,
            mark=";",
        ),
        made(
            "avoirs.csv",
            "credits",
            [
                C("N° avoir", "credit", counter("AV{:06d}", 900)),
                C("N° demande garantie", "claim", counter("DG{:05d}", 60, 2)),
                C("Date de l'avoir", "credited_on", days("%d/%m/%Y")),
                C("Pièces", "parts_amount", number(0, 400, 2, comma=True)),
                C("Main-d'œuvre", "labor_amount", number(0, 300, 2, comma=True)),
                C("Déplacement", "travel_amount", number(0, 90, 2, comma=True)),
                C("TVA", None, always("20,00")),
            ],
            world=w,
            mark=";",
        ),
    ]
