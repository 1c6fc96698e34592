"""Invented exports as five trades would send them: foreign headers, titles, encodings, words."""
# ruff: noqa: E501 - a row of an export is as long as it is

from __future__ import annotations

import datetime as dt

from tests.ingest.books import workbook

_D = "dd.mm.yyyy"

GERMAN: dict[str, bytes] = {
    "Chipliste Oktober.csv": """Wohnanlage Lindenhof;;;;;;
Stand 30.09.2026;;;;;;

Chip-Nr.;Bewohner-Kennung;Whg.-Bez.;Zustand;Ausgabetag;gültig bis (inkl.);Bemerkung
004711;M001;A-01;aktiv;13.02.2024;31.12.2026;
004712;M002;A-02;gesperrt;14.02.2024;31.12.2026;liegt im Büro
004713;M003;A-03;verloren;15.02.2024;;
""".encode("cp1252"),
    "mieterliste.csv": """Mieter-Kennung;Familienname;Wohnungsbezeichnung;Einzug;Auszug;Telefon
M001;Ahorn;A-01;01.02.2020;;0151 2223334
M002;Birke;A-02;01.02.2021;31.08.2026;
M003;Buche;A-03;15.02.2021;;
""".encode("utf-8-sig"),
    "Türcodes.csv": """Codebezeichnung;Zahlencode;Art;Mieter-Kennung;Tür-Nr
Haus;482913;Hauscode;;T1
Post;112233;Lieferung;;T1
P-7;771204;persönlich;M001;T1
""".encode(),
    "Türen und Bereiche.xlsx": workbook(
        {
            "Deckblatt": [["Objekt Lindenhof"]],
            "Türliste": [
                ["Objekt Lindenhof"],
                [],
                ["Tür-Nr.", "Türbezeichnung", "Innenseite", "Außenseite", "Zutritt mit",
                 "Schlossart", "bei Stromausfall", "Türkontakt vorhanden", "Fluchtweg",
                 "Lichte Breite", "Feuerwiderstand", "Selbstschließend", "Geprüft am"],
                ["T1", "Haustür", "B1", "B0", "Karte oder Code", "Haftmagnet", "entriegelt",
                 "Kontakt", "ja", "900 mm", "T30-RS", "ja", (dt.date(2026, 5, 12), _D)],
                ["T2", "Keller", "B2", "B1", "Schlüssel", "elektrischer Türöffner",
                 "Arbeitsstrom", "ohne", "nein", "850", None, "nein", (dt.date(2026, 5, 13), _D)],
            ],
            "Bereiche": [
                ["Bereich", "Bezeichnung", "Art", "Personenzahl"],
                ["B0", "Straße", "Außen", None],
                ["B1", "Flur", "Treppenhaus", 40],
                ["B2", "Keller", "Keller", 3],
            ],
        }
    ),
    "Zeiten.csv": b"Zeitprofil;Wochentage;von;bis\nTag;Mo-Fr;07:00;19:00\nTag;Sa;08:00;13:00\n",
    "Zutritt.csv": b"Lfd. Nr.;Berechtigter;Zutrittsprofil;Zeitprofil\n1;M001;Haus;Tag\n2;M002;Haus;\n",
}  # fmt: skip

FRENCH: dict[str, bytes] = {
    "badges.csv": """N° de badge;Réf. locataire;Appartement;État du badge;Délivré le;Valable jusqu'au
0012001;L01;101;en service;04/03/2025;31/12/2026
0012002;L02;102;perdu;14/03/2025;31/12/2026
0012003;L03;103;désactivé;15/03/2025;
""".encode("cp1252"),
    "locataires.csv": """Réf. locataire;Nom et prénom;Qualité;Logement;Date d'entrée;Date de sortie;Tél.
L01;Merle Anne;locataire;101;01/09/2020;;06 11 22 33 44
L02;Pinson Luc;locataire;102;15/10/2021;31/08/2026;
L03;Moineau SARL;prestataire;;02/01/2022;;
""".encode(),
    "portes.csv": """Repère porte;Libellé;Côté intérieur;Côté extérieur;Accès par;Serrure;En cas de coupure de courant;Bouton de sortie;Issue de secours;Largeur utile;Degré coupe-feu;Ferme-porte;Dernier contrôle
P1;Entrée;Z1;Z0;badge ou code;ventouse;déverrouillée;bouton poussoir;oui;90 cm;EI 30;oui;20/05/2026
P2;Cave;Z2;Z1;clé;gâche électrique;à émission;sans;non;800;;non;21/05/2026
""".encode(),
    "zones.csv": """Zone;Désignation;Type;Effectif;Lieu sûr
Z0;Rue;extérieur;;oui
Z1;Hall;parties communes;30;non
Z2;Caves;cave;2;non
""".encode(),
    "horaires.csv": """Plage horaire;Jours;Heure de début;Heure de fin
J;lundi à vendredi;08:00;18:00
J;sam., dim.;09:00;12:00
""".encode(),
    "historique.csv": """Horodatage;Porte;Événement;N° badge
30/09/2026 08:00:00;P1;accès autorisé;0012001
30/09/2026 08:05:10;P1;accès refusé;0012002
30/09/2026 08:06:00;P1;porte forcée;
""".encode(),
}  # fmt: skip

SPANISH: dict[str, bytes] = {
    "llaveros.csv": """Nº llavero;Ref. vecino;Piso;Estado del llavero;Fecha entrega;Fecha caducidad
00871;V01;1A;activo;13/02/2025;31/12/2026
00872;V02;1B;extraviado;14/02/2025;31/12/2026
00873;V03;2A;devuelto;15/02/2025;31/12/2026
""".encode("utf-16"),
    "vecinos.csv": """Ref. vecino|Apellidos y nombre|Tipo|Piso|Fecha de alta|Fecha de baja|Teléfono móvil
V01|Olmo Ana|inquilino|1A|13/02/2020||600 111 222
V02|Sauce Luis|inquilino|1B|14/02/2021|31/08/2026|
V03|Limpiezas Sol|limpieza||15/02/2021||
""".encode(),
    "puertas.csv": """Puerta nº;Denominación;Zona interior;Zona exterior;Acceso con;Cerradura;Sin corriente;Contacto de puerta;Vía de evacuación;Ancho libre (mm);Resistencia al fuego;Cierrapuertas;Última revisión
A;Portal;Z1;Z0;llavero;electroimán;desbloqueada;contacto;sí;900;EI2 60-C5;sí;12/05/2026
B;Garaje;Z2;Z1;llave;cerradero eléctrico;bloqueada;ninguno;no;800;;no;13/05/2026
""".encode(),
    "zonas.csv": b"""Zona;Nombre;Tipo;Aforo
Z0;Calle;exterior;
Z1;Portal;zonas comunes;20
Z2;Garaje;garaje;10
""",
    "horario.csv": """Horario;Días;Desde;Hasta
D;lunes a viernes;07:00;20:00
D;sáb y dom;09:00;14:00
""".encode(),
    "códigos.csv": """Nombre del código;Código;Clase;Vivienda
Reparto;903174;reparto;
1A;558210;privado;1A
""".encode(),
}  # fmt: skip

DUTCH: dict[str, bytes] = {
    "druppels.xlsx": workbook(
        {
            "Uitgifte": [
                ["Uitgiftelijst Lindehof"],
                ["Sleutelhangernr.", "Huurdersnummer", "Appartement nr.", "Toestand",
                 "Uitgifte op", "Geldig t/m datum"],
                ["008101", "H01", "12", "in gebruik", (dt.date(2025, 2, 13), _D), (dt.date(2026, 12, 31), _D)],
                ["008102", "H02", "14", "kwijt", (dt.date(2025, 2, 14), _D), (dt.date(2026, 12, 31), _D)],
                ["008103", "H03", "16", "ingeleverd", (dt.date(2025, 2, 15), _D), None],
            ]
        }
    ),
    "bewoners.csv": b"""Huurdersnummer;Achternaam;Functie;Woning;Ingang huur;Einde huur;Telefoonnr
H01;Den;huurder;12;13-02-2020;;06-11223344
H02;Spar;huurder;14;14-02-2021;31-08-2026;
H03;Schoon BV;schoonmaker;;15-02-2021;;
""",
    "deurlijst.csv": b"""Deurnr.;Omschrijving;Binnenzijde;Buitenzijde;Toegang met;Type slot;Bij stroomuitval;Drukknop;Vluchtweg;Vrije doorgang mm;Brandwerendheid (min);Deurdranger;Laatste controle
D1;Hoofdingang;Z1;Z0;druppel;kleefmagneet;ontgrendeld;drukknop;ja;930;30 min;ja;12-05-2026
D2;Berging;Z2;Z1;sleutel;elektrische deuropener;arbeidsstroom;geen;nee;830;;nee;13-05-2026
""",
    "zones.csv": b"""Gebied;Benaming;Soort;Aantal personen
Z0;Straat;buiten;
Z1;Hal;hal;25
Z2;Berging;berging;2
""",
    "rooster.csv": b"""Rooster;Weekdagen;Begintijd;Eindtijd
W;ma t/m vr;07:00;19:00
W;za en zo;09:00;12:00
""",
    "feestdagen.csv": b"""Kalender;Datum;Omschrijving
NL;25-12-2026;Kerst
NL;26-12-2026;Kerst
""",
}  # fmt: skip

ENGLISH: dict[str, bytes] = {
    "fob export.csv": b"""Fob serial (hex),Tenant reference no,Flat #,Current state,Date handed out,Expires on
04A1B2C3,T01,Flat 1,In use,02/13/2025,12/31/2026
04A1B2C4,T02,Flat 2,Handed back,02/14/2025,12/31/2026
04A1B2C5,T03,Flat 3,Stolen,02/15/2025,
""",
    "tenants.json": b"""{"export": "tenants", "rows": [
 {"tenantRef": "T01", "fullName": "Elm A", "flatNo": "Flat 1", "movedIn": "2020-02-13"},
 {"tenantRef": "T02", "fullName": "Ash B", "flatNo": "Flat 2", "movedIn": "2021-02-14",
  "movedOut": "2026-08-31"},
 {"tenantRef": "T03", "fullName": "Oak C", "flatNo": "Flat 3", "movedIn": "2021-02-15"}]}
""",
    "Door schedule rev C.csv": b"""Door ref\tDoor description\tInner zone\tOuter zone\tEntry by\tLocking\tOn power failure\tExit button type\tEscape route?\tClear opening (mm)\tFire rating\tSelf-closer\tDate last tested
D1\tMain entrance\tHall\tStreet\tfob or code\tmaglock\tfail safe\tpush button\tY\t900\tFD30S\tY\t05/20/2026
D2\tBin store\tBins\tHall\tkey\telectric strike\tfail secure\tnone\tN\t800\t\tN\t05/21/2026
""",
    "zones.csv": b"""Zone ref,Zone description,Zone type,Number of occupants
Street,Street,external,
Hall,Entrance hall,lobby,30
Bins,Bin store,bin store,1
""",
    "keypad codes.csv": b"""Code ref,Keypad code,Code type,Flat no
Post,903174,delivery,
F1,558210,private,Flat 1
""",
    "access log.jsonl": b"""{"eventTime": "2026-09-30T08:00:00Z", "doorNo": "D1", "result": "Access granted", "fob": "04A1B2C3"}
{"eventTime": "2026-09-30T08:01:00Z", "doorNo": "D1", "result": "Access denied", "fob": "04A1B2C4"}
""",
}  # fmt: skip

SITES = {
    "German": GERMAN,
    "French": FRENCH,
    "Spanish": SPANISH,
    "Dutch": DUTCH,
    "English": ENGLISH,
}
