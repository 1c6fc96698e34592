"""Stems of trade words by meaning and language, and the words that stand for our fixed words.

Common practice, no source: what registers of blocks of flats say in English, German, French,
Spanish and Dutch. `look` alone reads this list: it proposes, a person confirms in site.toml.
Everything here is folded: lower case, no accents.
"""

from __future__ import annotations

from typing import Final

LANGUAGES: Final = ("English", "German", "French", "Spanish", "Dutch")

_STEMS: Final[dict[str, tuple[str, str, str, str, str]]] = {
    # meaning: English, German, French, Spanish, Dutch; a stem may stand inside a compound word
    "number": ("number no num nbr", "nummer nr nummern lfd laufende", "numero n num",
        "numero n num", "nummer nr"),
    "id": ("id ref reference identifier key", "kennung kennzeichen kennnummer kenn kz",
        "identifiant ref reference matricule repere", "identificador referencia clave",
        "kenmerk referentie"),
    "date": ("date dates", "datum", "date", "fecha", "datum"),
    "name": ("name names surname description label title",
        "name namen bezeichnung beschreibung familienname nachname vorname bez",
        "nom noms designation libelle prenom intitule",
        "nombre apellidos denominacion descripcion",
        "naam omschrijving beschrijving benaming achternaam voornaam"),
    "kind": ("kind type category class purpose", "art typ kategorie klasse",
        "genre type categorie classe", "tipo clase categoria", "soort type categorie klasse"),
    "list": ("list register export", "liste verzeichnis register", "liste registre",
        "lista listado registro", "lijst register"),
    "card": ("card cards fob fobs tag tags token credential keyfob keycard dongle " "pass",
        "karte karten schlusselanhanger transponder chip anhanger zutrittskarte "
        "ausweis schlusselmedium", "carte cartes badge badges cle jeton",
        "tarjeta tarjetas llavero mando", "kaart kaarten druppel sleutelhanger toegangspas pas"),
    "serial": ("serial uid", "seriennummer serien", "serie", "serie", "serie serienummer"),
    "pin": ("pin passcode keycode", "pin zahlencode", "pin digicode", "pin", "pin pincode"),
    "code": ("code", "code", "code", "codigo", "code"),
    "person": ("person tenant resident holder occupant user cardholder keyholder "
        "lessee visitor", "person personen mieter mieterin bewohner berechtigter nutzer inhaber "
        "halter besitzer eigentumer karteninhaber besucher",
        "personne locataire resident porteur titulaire habitant detenteur "
        "occupant utilisateur beneficiaire proprietaire visiteur",
        "persona inquilino residente titular usuario vecino propietario " "arrendatario visitante",
        "persoon huurder bewoner houder gebruiker eigenaar bezoeker"),
    "dwelling": ("dwelling flat unit apartment apt property plot home",
        "wohnung wohnungs whg wohneinheit einheit", "logement appartement appt lot",
        "vivienda piso apartamento", "woning appartement flat"),
    "building": ("building block tower house", "gebaude haus", "batiment immeuble",
        "edificio bloque", "gebouw blok"),
    "stairs": ("staircase stair core riser", "treppenhaus aufgang stiege treppe",
        "cage escalier montee", "escalera portal", "trappenhuis portiek trap"),
    "floor": ("floor level storey", "etage stockwerk geschoss", "etage niveau", "planta",
        "verdieping bouwlaag"),
    "door": ("door doors", "tur turen tuer", "porte portes", "puerta puertas", "deur deuren"),
    "reader": ("reader", "leser kartenleser", "lecteur", "lector", "lezer kaartlezer"),
    "zone": ("zone area", "bereich zone", "secteur zone", "zona", "gebied zone"),
    "group": ("group groups", "gruppe gruppen profil", "groupe groupes", "grupo", "groep groepen"),
    "access": ("access", "zutritt zutritts zugang zugangs", "acces", "acceso", "toegang toegangs"),
    "right": ("permission right entitlement", "berechtigung recht", "droit autorisation",
        "permiso derecho", "recht bevoegdheid"),
    "schedule": ("schedule timetable", "zeitplan zeitprofil", "horaire plage", "horario",
        "rooster tijdschema"),
    "calendar": ("calendar", "kalender", "calendrier", "calendario", "kalender"),
    "holiday": ("holiday holidays", "feiertag feiertage feiertags", "ferie feries",
        "festivo festivos", "feestdag feestdagen"),
    "day": ("day days weekday weekdays", "tag tage wochentag wochentage", "jour jours", "dia dias",
        "dag dagen weekdag"),
    "time": ("time", "zeit uhrzeit zeitpunkt zeitstempel", "heure horodatage", "hora",
        "tijd tijdstip"),
    "status": ("status state condition", "status zustand", "statut etat situation",
        "estado situacion", "toestand status"),
    "valid": ("valid validity", "gultig gultigkeit", "valable valide validite",
        "valido validez vigente vigencia", "geldig geldigheid"),
    "from": ("from since start starts begin beginning", "von ab seit beginn anfang start",
        "du des debut depuis", "desde inicio comienzo", "van vanaf begin ingang aanvang"),
    "to": ("to until till end ends thru expiry expires expiration", "bis ende ablauf",
        "au jusque jusqu fin expiration echeance", "hasta fin caducidad caduca vencimiento vence",
        "tot einde eind verval tm"),
    "move in": ("movein tenancystart arrival", "einzug mietbeginn zuzug",
        "entree emmenagement arrivee", "entrada alta llegada", "intrek aankomst"),
    "move out": ("moveout tenancyend leaving departure", "auszug mietende wegzug", "sortie depart",
        "salida baja", "uittrek vertrek"),
    "issued": ("issued issue handed given", "ausgabe ausgegeben ubergabe ubergeben",
        "remis remise delivre emission", "entrega entregado emitido emision",
        "uitgifte uitgegeven"),
    "used": ("used use use seen activity", "benutzt nutzung benutzung verwendet",
        "utilisation utilise passage", "uso usado utilizado", "gebruikt gebruik"),
    "last": ("last latest", "zuletzt letzte letzter letztes", "dernier derniere", "ultimo ultima",
        "laatst laatste"),
    "set": ("set changed", "gesetzt geandert vergeben anderung", "change modifie modification",
        "cambiado cambio establecido", "ingesteld gewijzigd"),
    "phone": ("phone telephone mobile cell", "telefon handy mobil", "telephone portable",
        "telefono movil", "telefoon mobiel"),
    "role": ("role", "rolle funktion", "fonction qualite", "rol funcion", "functie rol"),
    "technology": ("technology tech medium", "technik technologie", "technologie", "tecnologia",
        "technologie techniek"),
    "format": ("format form encoding", "format", "format", "formato", "formaat"),
    "facility": ("facility site system", "anlage anlagen", "installation site",
        "instalacion sitio", "systeem"),
    "inside": ("inside inner to", "innen innenseite", "interieur interieure", "interior",
        "binnen binnenzijde"),
    "outside": ("outside outer", "aussen aussenseite", "exterieur exterieure", "exterior",
        "buiten buitenzijde"),
    "lock": ("lock locking", "schloss verriegelung turoffner", "serrure verrouillage gache",
        "cerradura cierre cerradero", "slot vergrendeling sluiting"),
    "power": ("power mains current", "strom stromlos spannung", "courant alimentation tension",
        "corriente tension", "stroom spanning"),
    "loss": ("loss failure fail outage", "ausfall", "coupure perte panne defaut",
        "corte fallo perdida", "uitval"),
    "exit": ("exit egress leave rex", "ausgang ausgangs", "sortie", "salida", "uitgang uitgangs"),
    "button": ("button input push", "taster taste", "bouton poussoir", "pulsador boton",
        "knop drukknop"),
    "mechanical": ("mechanical panic crash", "mechanisch mechanischer panik",
        "mecanique antipanique", "mecanico mecanica antipanico", "mechanische paniek"),
    "emergency": ("emergency breakglass", "not notfall", "urgence manuel", "emergencia", "nood"),
    "release": ("release released unlock", "entriegelung freigabe",
        "deverrouillage declencheur liberation", "desbloqueo liberacion", "ontgrendeling"),
    "fire": ("fire", "brand feuer", "incendie feu", "incendio fuego", "brand"),
    "alarm": ("alarm", "alarm", "alarme", "alarma", "alarm"),
    "resistance": ("resistance rating minutes", "widerstand schutz minuten", "resistance degre",
        "resistencia", "werendheid weerstand"),
    "contact": ("contact monitor sensor position", "kontakt uberwachung", "contact surveillance",
        "contacto", "contact standmelder bewaking"),
    "escape": ("escape evacuation", "flucht rettungs rettung", "evacuation secours", "evacuacion",
        "vlucht ontsnapping"),
    "route": ("route path means", "weg", "chemin issue", "via ruta recorrido", "weg route"),
    "final": ("final last", "letzte endgultig", "final finale", "final", "laatste eind"),
    "opens": ("opens opening swing", "offnet aufschlag", "ouvre ouverture", "abre apertura",
        "opent draait"),
    "direction": ("direction outward", "richtung fluchtrichtung", "sens", "sentido", "richting"),
    "clear": ("clear net", "lichte licht", "libre utile", "libre util", "vrije netto"),
    "width": ("width", "breite", "largeur", "ancho anchura", "breedte"),
    "millimetre": ("mm millimetres", "mm", "mm", "mm", "mm"),
    "closer": ("closer selfclosing", "selbstschliessend turschliesser schliesser",
        "fermeporte autofermante", "cierrapuertas", "zelfsluitend dranger deurdranger"),
    "held open": ("held heldopen", "offenzeit", "maintenue", "mantenida", "openstand"),
    "relock": ("relock", "wiederverriegelung", "reverrouillage", "rebloqueo", "hervergrendeling"),
    "delay": ("delay delayed", "verzogerung", "retard temporisation delai", "retardo demora",
        "vertraging"),
    "tested": ("tested test inspection checked inspected", "gepruft prufung kontrolle wartung",
        "essai controle verifie verification", "prueba revision revisado comprobado",
        "getest controle gecontroleerd keuring"),
    "member": ("member", "mitglied", "membre", "miembro", "lid"),
    "applied": ("applied sent downloaded", "ubertragen gesendet", "envoye transmis",
        "enviado transmitido", "verzonden overgezet"),
    "station": ("station panel device intercom", "sprechstelle turstation gerat gerate",
        "poste platine appareil interphone", "equipo placa portero", "toestel buitenpost post"),
    "controller": ("controller", "steuergerat steuerung", "centrale controleur",
        "controlador centralita", "regelaar stuurunit"),
    "main": ("main master parent", "haupt hauptgerat", "principal maitre", "principal",
        "hoofd hoofdtoestel"),
    "port": ("port", "anschluss klemme port", "borne port", "puerto", "poort aansluiting"),
    "address": ("address ip", "adresse ip", "adresse ip", "direccion ip", "adres ip"),
    "network": ("network subnet vlan", "netz netzwerk", "reseau", "red", "netwerk"),
    "source": ("source sync", "quelle", "source", "fuente", "bron"),
    "clock": ("clock", "uhr", "horloge", "reloj", "klok"),
    "call": ("call dial extension bell", "ruf klingel rufnummer", "appel", "llamada",
        "bel oproep"),
    "admin": ("admin administrator installer", "administrator", "administrateur installateur",
        "administrador", "beheerder installateur"),
    "event": ("event action result message transaction", "ereignis vorgang meldung",
        "evenement resultat", "evento suceso resultado", "gebeurtenis melding"),
    "read": ("read readback", "ausgelesen gelesen auslesung", "lu relecture lecture",
        "leido lectura", "uitgelezen gelezen"),
    "occupants": ("occupants occupancy people", "personenzahl", "effectif", "aforo ocupantes",
        "bezetting"),
    "occupied": ("occupied let", "vermietet bewohnt belegt", "occupe loue",
        "ocupado ocupada alquilada", "bewoond verhuurd"),
    "safety": ("safety safe", "sicherer sicherheit", "sur securite", "seguro seguridad",
        "veilige veiligheid"),
    "grade": ("grade", "grad", "grade", "grado", "graad"),
    "entry": ("entry means", "offnung", "entree", "entrada", "ingang"),
}  # fmt: skip

LINKS: Final = frozenset((
    "or", "ou", "o", "oder", "max", "maximum", "maximo", "maximale", "maximal", "total",
    "side", "seite", "cote", "lado", "zijde", "kant",
    "a", "an", "and", "the", "of", "in", "on", "at", "by", "with", "is", "for", "its", "el", "la",
    "las", "los", "le", "les", "l", "d", "de", "del", "der", "die", "das", "den", "des", "dem",
    "du", "en", "et", "un", "une", "y", "zu", "zum", "zur", "und", "von", "van", "het", "op",
    "per", "par", "por", "con", "mit", "am", "im", "s", "t", "m", "bei", "que",
))  # fmt: skip
"""Words that say nothing by themselves; some are stems too (du, des, van): those go first."""

WEAK: Final = frozenset(("number", "id", "date", "name", "kind", "millimetre", "code", "list"))


def _by_stem() -> dict[str, tuple[tuple[str, frozenset[str]], ...]]:
    found: dict[str, dict[str, set[str]]] = {}
    for meaning, lists in _STEMS.items():
        for language, stems in zip(LANGUAGES, lists, strict=True):
            for stem in stems.split():
                found.setdefault(stem, {}).setdefault(meaning, set()).add(language)
    return {
        stem: tuple((meaning, frozenset(spoken)) for meaning, spoken in both.items())
        for stem, both in found.items()
    }


STEMS: Final = _by_stem()
"""Stem -> its meanings, each with the languages in which it has it."""


def _words(text: str) -> tuple[str, ...]:
    return tuple(word.strip() for word in text.split(";") if word.strip())


YES_WORDS: Final = _words("ja;j;oui;o;si;s;vrai;wahr;verdadero;waar;x;✓;✔;on;ein;aan")
NO_WORDS: Final = _words("nein;non;nee;faux;falsch;falso;onwaar;off;aus;uit")

_STATUS_CARDS: Final = {
    "active": "aktiv;in use;live;enabled;ok;in betrieb;im umlauf;gultig;freigegeben;ausgegeben;"
    "issued;actif;active;en service;valide;activo;activa;en uso;vigente;alta;actief;in gebruik;"
    "geldig",
    "suspended": "blocked;disabled;inactive;locked;barred;on hold;gesperrt;inaktiv;deaktiviert;"
    "suspendu;suspendue;bloque;bloquee;desactive;desactivee;inactif;inactive;bloqueado;bloqueada;"
    "suspendido;suspendida;inactivo;desactivado;geblokkeerd;inactief;gedeactiveerd;opgeschort",
    "lost": "missing;stolen;verloren;gestohlen;verlust;vermisst;abhanden;perdu;perdue;vole;volee;"
    "perdido;perdida;robado;robada;extraviado;extraviada;kwijt;gestolen;vermist",
    "returned": "handed back;handed in;back;zuruckgegeben;zuruck;abgegeben;ruckgabe;rendu;rendue;"
    "restitue;restituee;retourne;devuelto;devuelta;teruggegeven;ingeleverd;retour",
    "destroyed": "scrapped;broken;vernichtet;zerstort;defekt;detruit;detruite;hors service;"
    "destruido;destruida;roto;vernietigd;defect;kapot",
    "stock": "in stock;spare;unissued;not issued;lager;auf lager;vorrat;reserve;en stock;"
    "disponible;en reserve;almacen;en existencias;voorraad;op voorraad",
}

WORDS: Final[dict[tuple[str, str], dict[str, tuple[str, ...]]]] = {
    key: {word: _words(text) for word, text in words.items()}
    for key, words in {
        ("cards", "status"): _STATUS_CARDS,
        ("pins", "status"): {
            "active": _STATUS_CARDS["active"],
            "suspended": _STATUS_CARDS["suspended"],
        },
        ("people", "role"): {
            "resident": "tenant;occupant;lessee;owner;leaseholder;mieter;mieterin;bewohner;"
            "eigentumer;locataire;habitant;proprietaire;inquilino;residente;vecino;propietario;"
            "huurder;bewoner;eigenaar",
            "staff": "employee;caretaker;concierge;porter;personal;hausmeister;mitarbeiter;"
            "hauswart;gardien;employe;personnel;empleado;conserje;portero;medewerker;personeel;"
            "huismeester;conciergerie",
            "contractor": "trades;engineer;cleaner;handwerker;dienstleister;reinigung;firma;"
            "prestataire;artisan;entreprise;menage;contratista;proveedor;limpieza;aannemer;"
            "schoonmaker;monteur",
            "visitor": "guest;besucher;gast;visiteur;invite;visitante;invitado;bezoeker",
            "agent": "managing agent;manager;verwalter;hausverwaltung;verwaltung;syndic;"
            "gestionnaire;administrador;gestor;beheerder;vve beheerder",
            "responder": "fire service;fire brigade;emergency services;police;feuerwehr;"
            "rettungsdienst;polizei;pompiers;secours;bomberos;policia;emergencias;brandweer;"
            "politie;hulpdiensten",
        },
        ("people", "status"): {
            "current": "active;in residence;living here;aktiv;wohnhaft;eingezogen;actuel;actuelle;"
            "present;actif;actual;activo;activa;alta;huidig;actief;woonachtig",
            "departed": "left;former;moved out;gone;ausgezogen;ehemalig;weg;parti;partie;sorti;"
            "ancien;ancienne;baja;antiguo;salio;se fue;vertrokken;voormalig;uitgetrokken",
            "expected": "future;moving in;erwartet;kunftig;zukunftig;attendu;attendue;futur;"
            "a venir;esperado;esperada;futuro;previsto;verwacht;toekomstig",
        },
        ("cards", "kind"): {
            "ordinary": "standard;ordinaire;ordinario;estandar;gewoon;standaard",
            "rounds": "guard;wachter;wachrundgang;ronde;rondier;ronda;vigilante;bewaking;rondgang",
            "master": "generalkarte;hauptkarte;passe;maitre;maestra;maestro;hoofdkaart;moederkaart",
        },
        ("cards", "technology"): {
            "lf-open": "125 khz;125khz;lf;low frequency",
            "hf-uid": "uid only;serial number only;nur seriennummer",
            "mobile": "phone;smartphone;app;handy;telephone;telefono;movil;telefoon;mobiel",
            "unknown": "unbekannt;inconnu;inconnue;desconocido;desconocida;onbekend;?",
        },
        ("pins", "kind"): {
            "personal": "private;own;personlich;privat;personnel;personnelle;prive;privee;"
            "privado;personlijk;prive",
            "shared": "common;communal;house;gemeinsam;allgemein;hauscode;commun;commune;partage;"
            "comun;compartido;compartida;gemeenschappelijk;gedeeld;algemeen",
            "delivery": "parcel;courier;post;lieferung;lieferant;paket;livraison;livreur;facteur;"
            "entrega;reparto;paqueteria;bezorging;bezorger;pakket",
            "duress": "bedrohung;uberfall;contrainte;coaccion;dwang",
            "admin": "administrator;installer;engineer;installateur;administrateur;administrador;"
            "instalador;beheerder;beheer",
            "unit-release": "release;turoffnung;ouverture;apertura;deuropening",
        },
        ("zones", "kind"): {
            "outside": "external;exterior;outdoors;open air;street;aussen;draussen;im freien;"
            "exterieur;dehors;rue;exterior;calle;buiten;straat",
            "common": "communal;corridor;lobby;hall;hallway;landing;circulation;allgemein;flur;"
            "diele;gang;eingangshalle;commun;couloir;palier;parties communes;comun;pasillo;"
            "vestibulo;rellano;zonas comunes;gemeenschappelijk;hal;overloop",
            "stair": "stairs;staircase;stairway;stairwell;treppe;treppenhaus;treppenraum;escalier;"
            "cage d'escalier;escalera;trap;trappenhuis",
            "dwelling": "flat;apartment;unit;residential;wohnung;logement;appartement;vivienda;"
            "piso;woning",
            "plant": "plant room;mechanical;electrical room;boiler room;technik;technikraum;"
            "heizraum;local technique;chaufferie;cuarto tecnico;sala de maquinas;technische ruimte;"
            "technische zone",
            "store": "storage;storeroom;bin store;cycle store;lager;keller;abstellraum;cave;"
            "local velos;local poubelles;trastero;almacen;berging;opslag;kelder",
            "parking": "car park;garage;garages;tiefgarage;parkplatz;parkhaus;stationnement;"
            "aparcamiento;garaje;parkeren;parkeergarage",
        },
        ("doors", "entry"): {
            "none": "free;open;frei;offen;keine;libre;aucun;aucune;ninguno;ninguna;vrij;geen",
            "card": "fob;reader;tag;karte;transponder;chip;badge;carte;tarjeta;llavero;kaart;"
            "druppel",
            "pin": "code;keypad;zahlencode;tastatur;digicode;clavier;codigo;teclado;toetsenbord",
            "card-or-pin": "card or code;fob or code;karte oder pin;karte oder code;"
            "badge ou code;carte ou code;tarjeta o codigo;tarjeta o pin;kaart of code;"
            "kaart of pin",
            "card-and-pin": "card and code;card + pin;card+pin;karte und pin;karte + pin;"
            "badge et code;carte et code;tarjeta y codigo;tarjeta y pin;kaart en code;kaart en pin",
            "key": "mechanical key;schlussel;cle;clef;llave;sleutel",
            "closed": "no entry;geschlossen;kein zutritt;ferme;fermee;cerrado;cerrada;gesloten;"
            "dicht",
        },
        ("doors", "lock"): {
            "none": "no lock;unlocked;kein;keins;ohne;aucun;aucune;sans;ninguno;ninguna;sin;geen;"
            "zonder",
            "magnet": "maglock;magnetic lock;electromagnet;magnetschloss;haftmagnet;ventouse;"
            "ventouse electromagnetique;electroiman;iman;ventosa;magneetslot;kleefmagneet",
            "strike": "electric strike;release strike;turoffner;elektrischer turoffner;e-offner;"
            "gache;gache electrique;cerradero;cerradero electrico;abrepuertas;deuropener;"
            "elektrische deuropener;sluitplaat",
            "bolt": "solenoid bolt;drop bolt;bolzenschloss;riegel;riegelschloss;pene;"
            "verrou electrique;cerrojo;cerrojo electrico;schoot;penslot",
            "motor": "motor lock;motorised lock;motorschloss;motorised;serrure motorisee;"
            "motorisee;cerradura motorizada;motorizada;motorslot",
        },
        ("doors", "power_loss"): {
            "unlocks": "unlocked;fail safe;fail-safe;failsafe;open;opens;ruhestrom;offen;entriegelt"
            ";offnet;rupture;a rupture;deverrouillee;ouverte;se deverrouille;desbloquea;"
            "desbloqueada;abierta;abre;ruststroom;ontgrendeld;ontgrendelt;opent",
            "stays-locked": "locked;fail secure;fail-secure;failsecure;arbeitsstrom;verriegelt;"
            "bleibt verriegelt;zu;emission;a emission;verrouillee;reste verrouillee;bloqueada;"
            "sigue bloqueada;cerrada;arbeidsstroom;vergrendeld;blijft vergrendeld;blijft op slot",
        },
        ("doors", "exit_input"): {
            "none": "no;kein;keiner;ohne;aucun;sans;ninguno;sin;geen;zonder",
            "button": "push button;exit button;rex button;taster;turtaster;knopf;bouton;"
            "bouton poussoir;pulsador;boton;knop;drukknop",
            "sensor": "pir;motion sensor;motion;bewegungsmelder;melder;detecteur;radar;capteur;"
            "detector;bewegingsmelder;bewegingssensor",
            "handle-switch": "handle switch;handle contact;druckerkontakt;druckerschalter;"
            "contact de bequille;contacto de manilla;krukcontact;krukschakelaar",
        },
        ("doors", "mechanical_exit"): {
            "none": "no;kein;keiner;keine;ohne;aucun;aucune;sans;ninguno;ninguna;sin;geen;zonder",
            "lever": "handle;lever handle;drucker;klinke;turdrucker;bequille;poignee;manilla;"
            "maneta;kruk;deurkruk;klink",
            "pad": "push pad;stossplatte;druckplatte;plaque de poussee;placa de empuje;duwplaat",
            "bar": "panic bar;push bar;crash bar;panikstange;stangengriff;barre antipanique;barre;"
            "barra antipanico;barra;panieksluiting;paniekstang;paniekbalk",
            "thumbturn": "thumb turn;turn;knauf;drehknauf;bouton moleté;bouton tournant;pomo;"
            "draaiknop;knopcilinder",
        },
        ("doors", "status_monitor"): {
            "none": "no;kein;keiner;ohne;aucun;sans;ninguno;sin;geen;zonder",
            "contact": "door contact;reed;magnetic contact;kontakt;turkontakt;magnetkontakt;"
            "contact de porte;contacto;contacto de puerta;deurcontact;magneetcontact",
            "contact-and-bolt": "contact and bolt;contact + bolt;kontakt und riegelkontakt;"
            "kontakt + riegel;contact et pene;contacto y cerrojo;contact en schoot",
        },
        ("door_groups", "member_kind"): {
            "door": "tur;porte;puerta;deur",
            "door_group": "group;door group;gruppe;turgruppe;groupe;grupo;groep;deurgroep",
        },
        ("permissions", "holder_kind"): {
            "person": "tenant;resident;user;mieter;bewohner;nutzer;personne;locataire;persona;"
            "inquilino;persoon;huurder;bewoner",
            "card": "fob;tag;karte;transponder;badge;carte;tarjeta;llavero;kaart;druppel",
            "pin": "code;zahlencode;codigo;pincode",
            "dwelling": "flat;unit;apartment;wohnung;logement;appartement;vivienda;piso;woning",
            "role": "rolle;rol",
        },
        ("stations", "kind"): {
            "entrance-panel": "panel;main panel;entrance station;door station;turstation;"
            "aussenstation;platine;platine de rue;platine principale;placa;placa de calle;"
            "placa principal;buitenpost;hoofdpost;deurpaneel",
            "secondary-panel": "second panel;sub panel;nebenstation;nebentur;platine secondaire;"
            "placa secundaria;nevenpost",
            "answering-unit": "handset;monitor;apartment station;wohnungsstation;innenstation;"
            "sprechstelle;combine;poste interieur;moniteur;telefonillo;monitor interior;"
            "binnenpost;huistelefoon",
            "extension-unit": "extension;additional handset;nebenstelle;zweite sprechstelle;"
            "poste supplementaire;extension;telefonillo adicional;neventoestel",
            "controller": "door controller;steuergerat;turcontroller;controleur;centrale;"
            "controlador;centralita;deurcontroller;stuurunit",
            "concierge": "porter station;guard station;pforte;pfortner;poste de garde;gardien;"
            "conserjeria;portierspost",
        },
        ("stations", "time_source"): {
            "network": "ntp;internet;netzwerk;reseau;red;netwerk",
            "controller": "steuergerat;centrale;controlador;regelaar",
            "manual": "by hand;hand;manuell;manuel;a mano;handmatig",
        },
        ("stations", "admin_code"): {
            "changed": "new;geandert;modifie;change;cambiado;gewijzigd",
            "default": "factory;works;werkseinstellung;standard;usine;par defaut;de fabrica;"
            "por defecto;fabriek;standaard",
            "unknown": "?;unbekannt;inconnu;desconocido;onbekend",
        },
        ("loaded", "credential_kind"): {
            "card": "fob;tag;karte;transponder;badge;carte;tarjeta;llavero;kaart;druppel",
            "pin": "code;zahlencode;codigo;pincode",
        },
        ("events", "event"): {
            "granted": "access granted;allowed;ok;valid;zutritt;zutritt gewahrt;gewahrt;berechtigt;"
            "acces autorise;autorise;accorde;acceso concedido;concedido;permitido;"
            "toegang verleend;verleend;toegestaan",
            "denied": "access denied;refused;rejected;invalid;abgelehnt;zutritt verweigert;"
            "verweigert;nicht berechtigt;acces refuse;refuse;acceso denegado;denegado;rechazado;"
            "toegang geweigerd;geweigerd",
            "exit": "exit button;request to exit;rex;ausgang;turtaster;sortie;salida;uitgang",
            "opened": "door opened;open;geoffnet;tur geoffnet;offen;ouverte;porte ouverte;ouvert;"
            "abierta;puerta abierta;abierto;geopend;deur geopend;open",
            "closed": "door closed;shut;geschlossen;tur geschlossen;fermee;porte fermee;ferme;"
            "cerrada;puerta cerrada;cerrado;gesloten;deur gesloten",
            "forced": "door forced;forced open;break in;aufgebrochen;aufbruch;tur aufgebrochen;"
            "forcee;porte forcee;effraction;forzada;puerta forzada;geforceerd;deur geforceerd",
            "held": "held open;door held;open too long;offen gehalten;zu lange offen;"
            "tur zu lange offen;maintenue ouverte;porte restee ouverte;mantenida abierta;"
            "puerta abierta demasiado tiempo;opengehouden;te lang open;deur te lang open",
            "duress": "bedrohung;uberfall;contrainte;coaccion;dwang",
            "tamper": "sabotage;sabotaje;manipulation;sabotagekontakt;autoprotection",
        },
    }.items()
}
"""(table, column) -> fixed word -> what registers say for it."""

ALSO: Final[dict[tuple[str, str], tuple[str, ...]]] = {
    key: _words(text)
    for key, text in {
        ("cards", "last_used"): "last access;letzter zutritt;dernier acces;ultimo acceso;"
        "laatste toegang",
        ("cards", "status"): "blocking status;sperrstatus",
        ("door_groups", "member_id"): "reader;leser;lecteur;lector;lezer",
        ("permissions", "holder_id"): "card or person;person or card;given to",
        ("doors", "fire_minutes"): "fire class;brandschutzklasse;classe de resistance au feu;"
        "clase de resistencia al fuego;brandklasse",
        ("events", "event"): "transaction;transaction type",
    }.items()
}
"""(table, column) -> words that are proposed for it and never taken without site.toml."""

DAYS: Final[dict[str, tuple[tuple[str, ...], ...]]] = {
    language: tuple(_words(day) for day in days.split("|"))
    for language, days in {
        "English": "mon;monday;mo|tue;tuesday;tues;tu|wed;wednesday;we|thu;thursday;thur;thurs;th|"
        "fri;friday;fr|sat;saturday;sa|sun;sunday;su",
        "German": "mo;mon;montag;montags|di;die;dienstag;dienstags|mi;mit;mittwoch;mittwochs|"
        "do;don;donnerstag;donnerstags|fr;fre;freitag;freitags|sa;sam;samstag;sonnabend;samstags|"
        "so;son;sonntag;sonntags",
        "French": "lun;lu;lundi|mar;ma;mardi|mer;me;mercredi|jeu;je;jeudi|ven;ve;vendredi|"
        "sam;sa;samedi|dim;di;dimanche",
        "Spanish": "lun;lu;l;lunes|mar;ma;m;martes|mie;mi;x;miercoles|jue;ju;j;jueves|"
        "vie;vi;v;viernes|sab;sa;s;sabado|dom;do;d;domingo",
        "Dutch": "ma;maa;maandag|di;din;dinsdag|wo;woe;woensdag|do;don;donderdag|"
        "vr;vri;vrijdag|za;zat;zaterdag|zo;zon;zondag",
    }.items()
}
"""Language -> what schedules write for Monday to Sunday. `di` is Tuesday in German and Dutch and
Sunday in French: a column is read in a language that knows every word in it."""

EVERY_DAY: Final = _words(
    "daily;every day;all days;all week;alle tage;taglich;tous les jours;quotidien;"
    "todos los dias;diario;dagelijks;alle dagen;elke dag"
)
HOLIDAYS: Final = _words(
    "holiday;holidays;bank holiday;bank holidays;feiertag;feiertage;ferie;feries;jour ferie;"
    "jours feries;festivo;festivos;feestdag;feestdagen"
)
WORKDAYS: Final = _words("weekdays;werktags;jours ouvrables;laborables;werkdagen")
WEEKENDS: Final = _words("weekend;weekends;wochenende;week end;fin de semana")
