"""Trade words for tables and columns in German, French, Spanish and Dutch, and more English.

Common practice, no source: words that registers of blocks of flats use in their headers.
Within one table a word names one column; the tests hold the list to that.
"""

from __future__ import annotations

from typing import Final


def _words(text: str) -> tuple[str, ...]:
    return tuple(word.strip() for word in text.split(";") if word.strip())


TABLE_WORDS: Final[dict[str, tuple[str, ...]]] = {
    "dwellings": _words(
        "dwelling;flats;flat;units;apartments;wohnungen;wohnung;einheiten;logements;logement;"
        "appartements;viviendas;vivienda;pisos;woningen;woning;appartementen"
    ),
    "people": _words(
        "person;persons;residents;tenants;occupants;personen;bewohner;mieter;personnes;habitants;"
        "locataires;résidents;personas;residentes;inquilinos;bewoners;huurders"
    ),
    "cards": _words(
        "card;fobs;fob;tags;tag;tokens;credentials;karten;karte;schlüsselanhänger;transponder;"
        "cartes;badges;tarjetas;llaveros;kaarten;kaart;druppels"
    ),
    "pins": _words(
        "pin;pin codes;codes;keypad codes;pincodes;zahlencodes;codes d'accès;codes pin;códigos;"
        "claves;toegangscodes"
    ),
    "zones": _words("zone;areas;bereiche;zonen;secteurs;zonas"),
    "doors": _words(
        "door;door schedule;doors"
        " schedule;türen;tür;türliste;portes;porte;puertas;puerta;deuren;deur;deurlijst"
    ),
    "door_groups": _words(
        "door group;access levels;access groups;türgruppen;zutrittsgruppen;groupes de portes;"
        "grupos de puertas;deurgroepen;toegangsgroepen"
    ),
    "buildings": _words(
        "building;blocks;houses;gebäude;häuser;bâtiments;immeubles;edificios;gebouwen;panden"
    ),
    "locks": _words("lock;door locks;schlösser;türschlösser;serrures;cerraduras;sloten;deursloten"),
    "permissions": _words(
        "permission;rights;access rights;berechtigungen;rechte;zutrittsrechte;droits;"
        "droits d'accès;permisos;derechos;rechten;toegangsrechten"
    ),
    "schedules": _words(
        "schedule;time zones;time profiles;zeitpläne;zeitprofile;horaires;plages horaires;"
        "horarios;tijdschema's;roosters"
    ),
    "calendars": _words(
        "calendar;holidays;kalender;feiertage;calendriers;jours fériés;calendarios;festivos;"
        "kalenders;feestdagen"
    ),
    "stations": _words(
        "station;devices;panels;units;geräte;sprechstellen;postes;platines;appareils;equipos;"
        "placas;toestellen;buitenposten"
    ),
    "loaded": _words(
        "readback;read back;controller dump;ausgelesen;auslesung;relecture;lectura;uitgelezen"
    ),
    "events": _words(
        "event;event log;log;access"
        " log;ereignisse;protokoll;événements;journal;eventos;registro;gebeurtenissen;logboek"
    ),
}

_DWELLING: Final = (
    "flat number;flat ref;flat id;unit id;unit number;apt;apt no;dwelling ref;property;property"
    " ref;plot;wohnung;wohnungsnummer;wohnung nr;wohnungs nr;whg;whg"
    " nr;wohneinheit;einheit;logement;n logement;no logement;numero de logement;appartement;no"
    " appartement;numero appartement;lot;vivienda;piso;numero de"
    " vivienda;woning;woningnummer;appartement nr;huisnummer"
)
_PERSON: Final = (
    "person id;person no;holder id;card holder;cardholder;tenant;occupant;resident ref;user;"
    "user id;owner;personen nr;personennummer;person nr;mieter;mieter nr;mieternummer;bewohner;"
    "bewohner nr;inhaber;halter;nutzer;karteninhaber;personne;locataire;no locataire;"
    "identifiant locataire;porteur;titulaire;habitant;detenteur;persona;id persona;inquilino;"
    "residente;titular;usuario;persoon;persoonsnummer;huurder;huurdernummer;bewoner;houder;"
    "kaarthouder;gebruiker"
)
_DOOR: Final = (
    "door name;door number;reader;access point;tür;tür nr;türnummer;türname;türbezeichnung;"
    "leser;porte;no porte;numero de porte;point d'acces;lecteur;puerta;no puerta;"
    "numero de puerta;punto de acceso;lector;deur;deurnummer;deur nr;deurnaam;lezer"
)
_FROM: Final = (
    "valid since;start date;begin;begin date;gültig ab;gültig von;beginn;ab;valable du;"
    "valide du;valable a partir du;debut;debut de validite;valido desde;desde;"
    "fecha de inicio;geldig vanaf;vanaf;ingangsdatum;begindatum"
)
_TO: Final = (
    "valid till;expiry date;expiration;expiration date;end date;valid thru;gültig bis;ablauf;"
    "ablaufdatum;bis;valable jusqu'au;valide jusqu'au;valable au;fin;fin de validite;"
    "date d'expiration;valido hasta;hasta;caducidad;fecha de caducidad;fecha de fin;"
    "geldig tot;tot;geldig t/m;vervaldatum;einddatum"
)
_STATUS: Final = "card status;current status;zustand;statut;etat;estado;toestand"
_NOTED: Final = "kind;type;art;typ;genre;tipo;clase;soort"
_SCHEDULE: Final = (
    "time profile;time schedule;zeitplan;zeitprofil;zeitprofil id;horaire;plage horaire;"
    "profil horaire;horario;perfil horario;rooster;tijdschema;tijdprofiel"
)
_GROUP: Final = (
    "door group id;access group;group id;gruppe;türgruppe;zutrittsgruppe;zutrittsprofil;groupe;"
    "groupe de portes;groupe d'acces;grupo;grupo de puertas;nivel de acceso;groep;deurgroep;"
    "toegangsgroep"
)

FOREIGN: Final[dict[str, dict[str, tuple[str, ...]]]] = {
    table: {column: _words(words) for column, words in columns.items()}
    for table, columns in {
        "dwellings": {
            "dwelling_id": _DWELLING,
            "building": (
                "building name;block name;tower;gebäude;haus;batiment;immeuble;edificio;"
                "bloque;gebouw;blok"
            ),
            "core": (
                "stair;stair core;lift core;treppenhaus;aufgang;stiege;cage;cage d'escalier;"
                "escalier;escalera;portal;trappenhuis;portiek"
            ),
            "floor": (
                "floor no;etage;stockwerk;geschoss;niveau;etage no;planta;verdieping;bouwlaag"
            ),
            "number": (
                "door no;türnummer;klingelnummer;numero;numero de porte;numero de puerta;"
                "deurnummer;belnummer"
            ),
            "zone_id": "zone;bereich;zone vor der tür;secteur;zona;gebied",
            "occupied": (
                "occupied yes no;in use;vermietet;bewohnt;belegt;occupe;loue;ocupado;"
                "ocupada;alquilada;bewoond;verhuurd"
            ),
        },
        "people": {
            "call_out": (
                "on call duty;rufbereitschaft;bereitschaft;astreinte;de"
                " guardia;oproepbaar;oproepdienst"
            ),
            "person_id": _PERSON.replace("cardholder;", "") + ";ref;id",
            "name": (
                "names;tenant names;resident name;occupant name;surname;family name;"
                "vor und nachname;nachname;familienname;nom;nom complet;nom et prenom;"
                "nom du locataire;nombre;nombre completo;apellidos;apellidos y nombre;naam;"
                "volledige naam;achternaam"
            ),
            "role": (
                "person type;category;rolle;funktion;personenart;role de la personne;fonction;"
                "qualite;rol;funcion;funktie;functie"
            ),
            "dwelling_id": _DWELLING,
            "status": "current status;zustand;statut;etat;estado;toestand",
            "start_date": (
                "move in date;tenancy start date;date"
                " in;einzug;einzugsdatum;mietbeginn;entree;date d'entree;debut du bail;fecha de"
                " entrada;entrada;fecha de alta;alta;intrek;ingang huur;datum in;intrekdatum;"
                + _FROM
            ),
            "end_date": (
                "move out date;tenancy end date;date out;leave"
                " date;auszug;auszugsdatum;mietende;sortie;date de sortie;depart;date de"
                " depart;fin du bail;fecha de salida;salida;fecha de baja;baja;vertrek;einde"
                " huur;datum uit;uittrekdatum;vertrekdatum;" + _TO
            ),
            "phone": (
                "phone no;tel;tel no;mobile number;cell;contact number;telefon;"
                "telefonnummer;handy;mobil;portable;numero de telephone;telefono;movil;"
                "telefoon;telefoonnummer;mobiel"
            ),
        },
        "cards": {
            "status_since": (
                "status date;status from;zustand seit;status seit;statut depuis;estado"
                " desde;status sinds"
            ),
            "card_id": (
                "card record;card reference;fob ref;fob reference;karten id;karten ref;"
                "identifiant carte;id carte;id tarjeta;kaart id"
            ),
            "number": (
                "fob;fob serial;tag no;tag;token;token number;credential number;card"
                " serial;serial number;serial no;card;kartennummer;karten nr;karte"
                " nr;karte;transponder nr;transpondernummer;transponder;chip"
                " nr;chipnummer;seriennummer;numero de carte;no carte;n carte;carte;numero de"
                " badge;no badge;n badge;badge;numero de serie;numero de tarjeta;no tarjeta;n"
                " tarjeta;tarjeta;numero de llavero;llavero;kaartnummer;kaart"
                " nr;kaart;tagnummer;druppel;druppelnummer;serienummer"
            ),
            "facility_code": (
                "facility no;system code;anlagencode;anlagennummer;code site;"
                "code d'installation;codigo de instalacion;codigo de sitio;sitecode;systeemcode"
            ),
            "number_form": (
                "encoding;nummernformat;zahlenformat;format;format du numero;formato;"
                "formato del numero;nummerformaat;formaat"
            ),
            "technology": (
                "medium;card technology;fob"
                " type;technik;technologie;kartentechnik;kartentyp;technologie carte;type de"
                " carte;tecnologia;tipo de tarjeta;kaarttype;kaarttechnologie"
            ),
            "kind": (
                "purpose;type of use;kartenart;verwendung;usage;genre;uso;clase;soort;kaartsoort"
            ),
            "person_id": _PERSON,
            "dwelling_id": _DWELLING,
            "status": (
                _STATUS + ";fob status;kartenstatus;statut carte;estado tarjeta;kaartstatus"
            ),
            "valid_from": _FROM,
            "valid_to": _TO,
            "issued_on": (
                "date issued;issued date;handed out;given out;ausgegeben;ausgabe;"
                "ausgegeben am;ausgabedatum;remis le;date de remise;delivre le;entregado;"
                "fecha de entrega;emitido;uitgegeven;uitgegeven op;uitgiftedatum"
            ),
            "last_used": (
                "date last used;last used on;last activity;zuletzt benutzt;letzte"
                " nutzung;zuletzt verwendet;derniere utilisation;dernier passage;ultimo"
                " uso;laatst gebruikt;laatste gebruik"
            ),
        },
        "pins": {
            "status_since": (
                "status date;status from;zustand seit;status seit;statut depuis;estado"
                " desde;status sinds"
            ),
            "pin_id": (
                "code ref;code name;pin reference;keypad user;pin nummer id;"
                "pin bezeichnung;code bezeichnung;codename;nom du code;identifiant code;"
                "nombre del codigo;id codigo;codenaam;code id nr"
            ),
            "pin": (
                "pin number;pin no;pin nummer;numero pin;keypad code;door code;access code;"
                "pincode;zahlencode;türcode;"
                "zugangscode;zutrittscode;ziffern;code d'acces;code porte;chiffres;codigo;"
                "codigo de acceso;clave;cifras;toegangscode;deurcode;cijfers"
            ),
            "kind": _NOTED + ";pin type;code type",
            "person_id": _PERSON,
            "dwelling_id": _DWELLING + ";flat no;unit no",
            "door_id": _DOOR,
            "station_id": (
                "panel id;entrance panel;keypad;gerät;sprechstelle;türstation;poste;"
                "platine;placa;equipo;toestel;buitenpost"
            ),
            "status": _STATUS,
            "set_on": (
                "date set;date changed;last changed;set date;gesetzt am;geändert am;"
                "vergeben am;change le;modifie le;date de creation;cambiado;fecha de cambio;"
                "establecido;ingesteld op;gewijzigd op"
            ),
            "valid_from": _FROM,
            "valid_to": _TO,
        },
        "buildings": {
            "building": "building id;gebäude;gebäude nr;bâtiment;immeuble;edificio;gebouw",
            "name": "building name;bezeichnung;nom;nombre;naam;omschrijving",
            "use": "usage;nutzung;nutzungsart;utilisation;uso;gebruik",
            "evacuation": (
                "evacuation policy;räumung;räumungskonzept;évacuation;evacuación;ontruiming"
            ),
            "communal_alarm": (
                "communal fire alarm;hausalarm;alarme commune;alarma común;gemeenschappelijk alarm"
            ),
            "detection": (
                "smoke detection;brandmeldeanlage;détection incendie;detección;branddetectie"
            ),
            "sprinklers": (
                "sprinkler;sprinkleranlage;extincteurs automatiques;rociadores;sprinklerinstallatie"
            ),
            "top_storey_m": (
                "top storey height;höhe oberstes geschoss;hauteur dernier plancher;altura"
                " última planta;hoogte bovenste vloer"
            ),
            "storeys": "floors;geschosse;anzahl geschosse;nombre d'étages;plantas;verdiepingen",
            "all_exits_listed": (
                "all exits;alle ausgänge erfasst;toutes les issues;todas las salidas;alle uitgangen"
            ),
        },
        "locks": {
            "lock": (
                "locking;schloss;verriegelung;schlossart;serrure;verrouillage;cerradura;"
                "cierre;bloqueo;slot;vergrendeling"
            ),
            "power_loss": (
                "fail safe;power fail;bei stromausfall;stromausfall;stromlos;coupure de"
                " courant;sans courant;sin corriente;corte de corriente;bij"
                " stroomuitval;stroomuitval;spanningsloos"
            ),
            "exit_input": (
                "request to exit;rex;exit request;ausgangstaster;türtaster;"
                "bouton de sortie;bouton poussoir;pulsador de salida;salida;uitgangsknop;"
                "drukknop;uitgangsingang"
            ),
            "mechanical_exit": (
                "panic hardware;exit hardware;mechanischer ausgang;panikbeschlag;"
                "fluchttürbeschlag;sortie mecanique;barre antipanique;salida mecanica;"
                "barra antipanico;mechanische uitgang;paniekbeslag;panieksluiting"
            ),
            "exit_reader": (
                "out reader;reader on exit;leser innen;leser ausgang;"
                "lecteur de sortie;lector de salida;lezer binnen;uitgangslezer"
            ),
            "emergency_release": (
                "emergency door release;break glass;green"
                " box;nottaster;notentriegelung;notauf;declencheur manuel;boitier"
                " vert;desbloqueo de emergencia;pulsador de"
                " emergencia;noodontgrendeling;nooddrukker"
            ),
            "alarm_release": (
                "released by fire alarm;fire alarm interface;brandfallsteuerung;"
                "freigabe bei brandalarm;bma freigabe;asservissement incendie;"
                "liberacion por incendio;liberacion por alarma;brandmeldsturing;"
                "ontgrendeling bij brand"
            ),
            "door_id": _DOOR,
            "lock_id": "lock name;lock no;schloss nr;no serrure;nombre cerradura;slotnummer",
        },
        "zones": {
            "building": "building name;gebäude;haus;bâtiment;immeuble;edificio;gebouw",
            "floor": "floor no;stockwerk;etage;geschoss;planta;verdieping",
            "use": "usage;nutzung;nutzungsart;utilisation;uso;gebruik",
            "tenancy": (
                "tenancy name;mieteinheit;nutzungseinheit;local loué;arrendamiento;huureenheid"
            ),
            "zone_id": "zone name id;bereich;zone nr;secteur;zona;gebied;zone code",
            "name": (
                "zone name;area name;bezeichnung;bereichsname;nom;nom de la zone;designation;"
                "nombre;naam;omschrijving"
            ),
            "kind": _NOTED + ";zone type;area type",
            "occupants": (
                "number of people;occupant load;personenzahl;personen;nombre de personnes;"
                "effectif;ocupantes;numero de personas;aforo;aantal personen;bezetting"
            ),
            "place_of_safety": (
                "safe place;sicherer bereich;sicherer ort;lieu sur;lugar seguro;veilige plaats"
            ),
            "security_grade": (
                "security level;sicherheitsgrad;schutzgrad;niveau de securite;"
                "grado de seguridad;grado;beveiligingsgraad;graad"
            ),
        },
        "doors": {
            "kept_locked": (
                "kept shut;verschlossen gehalten;ständig verschlossen;maintenue fermée;siempre"
                " cerrada;gesloten gehouden"
            ),
            "hold_open": (
                "hold open device;feststellanlage;offenhaltung;maintien ouvert;retenedor;vasthouder"
            ),
            "interlocked_with": (
                "interlock;verriegelt mit;schleuse mit;asservie avec;enclavada con;vergrendeld met"
            ),
            "interlock_released": (
                "interlock release;schleuse aufgehoben;asservissement levé;enclavamiento"
                " liberado;sluis vrijgegeven"
            ),
            "responder_entry": (
                "fire service entry;feuerwehrzugang;accès pompiers;acceso bomberos;toegang"
                " brandweer"
            ),
            "fire_door_checked": (
                "fire door check;brandschutztür geprüft;contrôle porte coupe feu;revisión"
                " puerta cortafuego;branddeur gecontroleerd"
            ),
            "release_tested": (
                "release test;freischaltung geprüft;test du déblocage;prueba de"
                " desbloqueo;vrijgave getest"
            ),
            "alarm_interface_tested": (
                "alarm interface test;alarmkopplung geprüft;test asservissement alarme;prueba"
                " enlace alarma;alarmkoppeling getest"
            ),
            "battery_tested": (
                "battery test;akku geprüft;batterie geprüft;test batterie;prueba batería;accu"
                " getest"
            ),
            "door_id": (
                "door number;access point;tür;tür nr;türnummer;porte;no porte;numero de"
                " porte;point d'acces;puerta;no puerta;numero de puerta;punto de"
                " acceso;deur;deurnummer;deur nr"
            ),
            "name": (
                "location;bezeichnung;türbezeichnung;türname;nom;nom de la porte;designation;"
                "nombre;nombre de la puerta;naam;deurnaam;omschrijving"
            ),
            "inside_zone": (
                "zone inside;zone in;innen;bereich innen;nach bereich;zone interieure;"
                "interieur;zona interior;interior;binnen;binnenzone;zone binnen"
            ),
            "outside_zone": (
                "zone outside;zone out;außen;bereich außen;von bereich;"
                "zone exterieure;exterieur;zona exterior;exterior;buiten;buitenzone;zone buiten"
            ),
            "entry": (
                "access by;entry by;zutritt;zutritt mit;öffnung mit;acces;acces par;"
                "ouverture par;acceso;acceso con;toegang;toegang met"
            ),
            "lock": (
                "locking;schloss;verriegelung;schlossart;serrure;verrouillage;cerradura;"
                "cierre;bloqueo;slot;vergrendeling"
            ),
            "power_loss": (
                "fail safe;power fail;bei stromausfall;stromausfall;stromlos;coupure de"
                " courant;sans courant;sin corriente;corte de corriente;bij"
                " stroomuitval;stroomuitval;spanningsloos"
            ),
            "exit_input": (
                "request to exit;rex;exit request;ausgangstaster;türtaster;"
                "bouton de sortie;bouton poussoir;pulsador de salida;salida;uitgangsknop;"
                "drukknop;uitgangsingang"
            ),
            "mechanical_exit": (
                "panic hardware;exit hardware;mechanischer ausgang;panikbeschlag;"
                "fluchttürbeschlag;sortie mecanique;barre antipanique;salida mecanica;"
                "barra antipanico;mechanische uitgang;paniekbeslag;panieksluiting"
            ),
            "exit_reader": (
                "out reader;reader on exit;leser innen;leser ausgang;"
                "lecteur de sortie;lector de salida;lezer binnen;uitgangslezer"
            ),
            "emergency_release": (
                "emergency door release;break glass;green"
                " box;nottaster;notentriegelung;notauf;declencheur manuel;boitier"
                " vert;desbloqueo de emergencia;pulsador de"
                " emergencia;noodontgrendeling;nooddrukker"
            ),
            "alarm_release": (
                "released by fire alarm;fire alarm interface;brandfallsteuerung;"
                "freigabe bei brandalarm;bma freigabe;asservissement incendie;"
                "liberacion por incendio;liberacion por alarma;brandmeldsturing;"
                "ontgrendeling bij brand"
            ),
            "status_monitor": (
                "door monitor;position switch;magnetic contact;türkontakt;"
                "türüberwachung;magnetkontakt;contact de porte;contact;surveillance;"
                "contacto de puerta;contacto;deurcontact;deurstandmelder;magneetcontact"
            ),
            "escape_route": (
                "on escape route;means of escape;fluchtweg;rettungsweg;notausgang;"
                "issue de secours;chemin d'evacuation;via de evacuacion;salida de emergencia;"
                "vluchtweg;vluchtroute;nooduitgang"
            ),
            "opens_with_escape": (
                "opens in escape direction;opens in direction of escape;öffnet in"
                " fluchtrichtung;aufschlag in fluchtrichtung;ouvre dans le sens de"
                " l'evacuation;sens d'evacuation;abre en sentido de evacuacion;opent in"
                " vluchtrichting;draait in vluchtrichting"
            ),
            "clear_width_mm": (
                "clear opening;clear opening mm;clear opening width;width;"
                "lichte breite;lichte breite mm;durchgangsbreite;largeur libre;largeur utile;"
                "largeur de passage;ancho libre;ancho util;ancho de paso;vrije breedte;"
                "vrije doorgang;doorgangsbreedte;dagmaat"
            ),
            "fire_minutes": (
                "fire resistance min;fd rating;feuerwiderstand;feuerwiderstand"
                " minuten;brandschutz;resistance au feu;coupe feu;coupe feu minutes;resistencia"
                " al fuego;brandwerendheid;brandwerendheid minuten;wbdbo"
            ),
            "self_closing": (
                "self closing device;door closer;selbstschließend;türschließer;"
                "schließer;fermeture automatique;ferme porte;cierre automatico;cierrapuertas;"
                "zelfsluitend;deurdranger;dranger"
            ),
            "held_open_alarm_s": (
                "held open time;door held alarm;held open seconds;"
                "offenzeitalarm;tür zu lange offen;alarm offen s;alarme porte ouverte;"
                "temps d'ouverture;alarma puerta abierta;tiempo de apertura;deur te lang open;"
                "openstandalarm"
            ),
            "exit_delay_s": (
                "exit delay seconds;delayed egress;ausgangsverzögerung;"
                "verzögerung;retard de sortie;temporisation de sortie;retardo de salida;"
                "uitgangsvertraging;vertraging"
            ),
            "unlock_schedule": (
                "unlock times;free schedule;daueroffen;daueroffen zeitplan;"
                "freigabezeiten;horaire libre;horaire d'ouverture;horario libre;"
                "horario de apertura;vrij rooster;openingstijden"
            ),
            "last_tested": (
                "last test;last test date;last inspection;last checked;"
                "letzte prüfung;geprüft am;zuletzt geprüft;dernier essai;dernier controle;"
                "verifie le;ultima prueba;ultima revision;revisado;laatst getest;laatste test;"
                "laatste controle;gecontroleerd op"
            ),
        },
        "door_groups": {
            "door_group": _GROUP,
            "member_kind": (
                "member type;mitgliedsart;art;type de membre;tipo de miembro;soort lid"
            ),
            "member_id": "door name;tür;tür nr;mitglied;porte;membre;puerta;miembro;deur;lid",
        },
        "permissions": {
            "approved_by": (
                "approved;genehmigt von;freigegeben von;approuvé par;aprobado por;goedgekeurd door"
            ),
            "granted_by": (
                "granted;erteilt von;vergeben von;accordé par;concedido por;toegekend door"
            ),
            "permission_id": (
                "permission no;right;right no;access right;recht;recht nr;"
                "berechtigung;berechtigung nr;droit;no droit;permiso;derecho;no permiso;"
                "toegangsrecht;recht id"
            ),
            "holder_kind": (
                "holder type;inhaberart;art;type de porteur;type titulaire;"
                "tipo de titular;soort houder"
            ),
            "holder_id": _PERSON + ";person;tenant ref;resident id",
            "door_group": _GROUP,
            "door_id": _DOOR,
            "schedule_id": _SCHEDULE + ";zeiten",
            "valid_from": _FROM,
            "valid_to": _TO,
            "applied_on": (
                "sent to controllers;sent to controller;last sent;übertragen am;"
                "übertragen;geladen am;gesendet am;envoye le;transmis le;charge le;enviado;"
                "enviado el;cargado;verzonden op;verzonden;overgezet op"
            ),
        },
        "schedules": {
            "schedule_id": _SCHEDULE + ";schedule name",
            "days": (
                "days of week;weekday;tage;wochentage;wochentag;jours;jour;dias;dia;dagen;"
                "weekdagen;dag"
            ),
            "start": (
                "begin;time from;von;beginn;uhrzeit von;debut;heure de debut;heure debut;"
                "inicio;hora de inicio;desde;van;begintijd;aanvang"
            ),
            "end": (
                "finish;time to;bis;ende;uhrzeit bis;fin;heure de fin;heure fin;"
                "hora de fin;hasta;tot;eindtijd;einde"
            ),
            "calendar": (
                "feiertagskalender;kalender;feiertage;calendrier;jours feries;"
                "calendario;festivos;feestdagen;feestdagenkalender"
            ),
        },
        "calendars": {
            "calendar": (
                "calendar name;kalender;feiertagskalender;calendrier;calendario;feestdagenkalender"
            ),
            "date": "dates;datum;tag;jour;fecha;dia;dag",
            "name": (
                "description;bezeichnung;feiertag;nom;jour ferie;nombre;festivo;naam;"
                "feestdag;omschrijving"
            ),
        },
        "stations": {
            "station_id": (
                "unit id;unit ref;panel;panel id;station name;gerät;geräte id;geräte"
                " nr;sprechstelle;poste;identifiant poste;appareil;equipo;id"
                " equipo;toestel;toestel id"
            ),
            "kind": (
                "art;geräteart;gerätetyp;genre;type de poste;type d'appareil;tipo;"
                "tipo de equipo;soort;toesteltype"
            ),
            "dwelling_id": _DWELLING.replace("unit id;unit number;", "") + ";flat no;unit no",
            "number": (
                "call no;dial number;extension;extension number;rufnummer;ruf nr;"
                "klingelnummer;nebenstelle;numero d'appel;numero;numero de llamada;belnummer;"
                "oproepnummer"
            ),
            "main_id": (
                "main station;master;parent;hauptgerät;hauptstation;poste principal;"
                "principal;equipo principal;hoofdtoestel;hoofdpost"
            ),
            "door_id": _DOOR.replace("door name;", ""),
            "controller_id": (
                "controller name;bus controller;steuergerät;controller nr;centrale;"
                "controleur;controlador;centralita;stuurunit;regelaar"
            ),
            "port": "port no;anschluss;klemme;borne;puerto;aansluiting;poort",
            "address": "ip addr;network address;ip adresse;adresse ip;direccion ip;ip adres",
            "network": "subnet;vlan;netz;netzwerk;reseau;red;netwerk",
            "time_source": (
                "time sync;ntp;zeitquelle;uhr;source horaire;horloge;"
                "fuente horaria;reloj;tijdbron;klok"
            ),
            "timezone": "tz;zeitzone;fuseau horaire;zona horaria;huso horario;tijdzone",
            "admin_code": (
                "administrator code;admin password;installer"
                " code;admincode;administratorcode;code administrateur;code installateur;codigo"
                " de administrador;beheerderscode;installateurscode"
            ),
        },
        "loaded": {
            "door_id": _DOOR,
            "credential_kind": (
                "credential type;art;medium;genre;type d'identifiant;tipo;tipo de credencial;soort"
            ),
            "number": (
                "credential number;fob number;fob no;fob;tag number;number or pin;card;"
                "card no;kartennummer;karten nr;nummer;numero de carte;numero de badge;numero;"
                "numero de tarjeta;kaartnummer;kaart nr"
            ),
            "valid_to": _TO,
            "read_on": (
                "date read;read date;readback date;dumped on;ausgelesen am;gelesen am;"
                "lu le;date de lecture;leido el;leido;fecha de lectura;uitgelezen op;gelezen op"
            ),
        },
        "events": {
            "time": (
                "event time;date and time;datetime;date;zeit;zeitpunkt;zeitstempel;datum"
                " uhrzeit;datum und uhrzeit;heure;horodatage;date heure;date et"
                " heure;hora;fecha y hora;fecha hora;tijd;tijdstip;datum tijd;datum en tijd"
            ),
            "door_id": _DOOR,
            "event": (
                "event name;action;message;result;ereignis;meldung;vorgang;evenement;"
                "message evenement;resultat;evento;suceso;resultado;gebeurtenis;melding"
            ),
            "card_number": (
                "fob number;fob no;fob;tag;credential;kartennummer;karten"
                " nr;karte;transponder;numero de carte;numero de badge;badge;carte;numero de"
                " tarjeta;tarjeta;kaartnummer;kaart;kaart nr"
            ),
            "pin_id": "pin used;pin ref;code;code id;pin code id;codename;codigo;pincode",
        },
    }.items()
}
