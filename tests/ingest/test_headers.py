"""Headers: names, trade words in five languages, the site's own mapping, and what conflicts."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from audit.ingest.headers import loose, match, plain, recognise
from audit.ingest.synonyms import FOREIGN, TABLE_WORDS
from audit.schema import TABLES
from audit.site import InputError, Source
from tests.ingest.sites import load


@pytest.mark.parametrize(
    "header",
    ["dwelling_id", "Dwelling ID", "DWELLING-ID", "dwellingId", " dwelling  id ", "Dwelling.Id",
     "dwélling_íd", "\ufeffdwelling_id"],
)  # fmt: skip
def test_spelling_does_not_matter(header: str) -> None:
    assert recognise("cards", header) == "dwelling_id"


def test_signs_for_number_are_read_as_one_word() -> None:
    assert plain("Flat #") == plain("Flat No.") == plain("flat №") == "flatno"


@pytest.mark.parametrize("key", [plain, loose])
def test_within_a_table_a_word_names_one_column(key: Callable[[str], str]) -> None:
    for table, spec in TABLES.items():
        owner: dict[str, str] = {plain(c.name): c.name for c in spec.columns}
        for column in spec.columns:
            words = [*column.synonyms, *FOREIGN[table].get(column.name, ())]
            for word in words:
                assert plain(word), (table, word)
                claimed = owner.setdefault(key(word) or word, column.name)
                assert claimed == column.name, f"{table}: {word!r} names {claimed} too"


def test_every_column_has_words_in_other_languages_and_no_column_is_invented() -> None:
    assert set(FOREIGN) == set(TABLES) == set(TABLE_WORDS)
    for table, columns in FOREIGN.items():
        names = {c.name for c in TABLES[table].columns}
        assert set(columns) == names, (table, names ^ set(columns))
        assert all(len(words) >= 3 for words in columns.values())


FOREIGN_CARDS = {
    "German": (
        "Kartennummer;Mieter-Nr.;Wohnung;Zustand;Gültig ab;Gültig bis;Ausgegeben am;Zuletzt benutzt"
    ),
    "French": (
        "N° de carte;Locataire;Logement;Statut;"
        "Valable du;Valable jusqu'au;Remis le;Dernière utilisation"
    ),
    "Spanish": (
        "Número de tarjeta;Inquilino;Vivienda;Estado;"
        "Válido desde;Válido hasta;Fecha de entrega;Último uso"
    ),
    "Dutch": (
        "Kaartnummer;Huurder;Woning;Toestand;Geldig vanaf;Geldig tot;Uitgegeven op;Laatst gebruikt"
    ),
    "English": (
        "Fob No.;Tenant ref;Flat #;Current status;"
        "Valid since;Expiry date;Date issued;Date last used"
    ),
}


@pytest.mark.parametrize("language", FOREIGN_CARDS)
def test_foreign_headers_are_understood(tmp_path: Path, language: str) -> None:
    row = "0012;P1;A1;lost;01.02.2026;30.09.2026;01.02.2026;"
    data = load(tmp_path, {"cards.csv": f"{FOREIGN_CARDS[language]}\n{row}\n"})
    assert data.tables["cards"].columns == {
        "number", "person_id", "dwelling_id", "status", "valid_from", "valid_to", "issued_on",
        "last_used",
    }  # fmt: skip
    assert data["cards"]["number"].tolist() == ["0012"]
    assert data["cards"]["valid_to"].dt.month.tolist() == [9]


FOREIGN_DOORS = {
    "German": (
        "Tür;Bezeichnung;Innen;Außen;Schloss;"
        "Bei Stromausfall;Türkontakt;Fluchtweg;Lichte Breite (mm);Geprüft am"
    ),
    "French": (
        "Porte;Désignation;Intérieur;Extérieur;Serrure;"
        "Coupure de courant;Contact de porte;Issue de secours;Largeur libre;Vérifié le"
    ),
    "Spanish": (
        "Puerta;Nombre;Interior;Exterior;Cerradura;"
        "Sin corriente;Contacto de puerta;Vía de evacuación;Ancho libre;Revisado"
    ),
    "Dutch": (
        "Deur;Omschrijving;Binnen;Buiten;Slot;"
        "Bij stroomuitval;Deurcontact;Vluchtweg;Vrije breedte;Gecontroleerd op"
    ),
}


@pytest.mark.parametrize("language", FOREIGN_DOORS)
def test_foreign_doors_are_understood(language: str) -> None:
    matches, notes = match("doors", FOREIGN_DOORS[language].split(";"), "doors.csv")
    assert [m.column for m in matches] == [
        "door_id", "name", "inside_zone", "outside_zone", "lock", "power_loss", "status_monitor",
        "escape_route", "clear_width_mm", "last_tested",
    ]  # fmt: skip
    assert {m.reason for m in matches} == {"synonym"}
    assert not notes


def test_the_better_claim_wins_and_is_said() -> None:
    matches, notes = match("cards", ["Fob", "number", "Serial"], "cards.csv")
    assert [m.column for m in matches] == [None, "number", None]
    assert notes == ("cards.csv: number is read from 'number'; 'Serial', 'Fob' left over",)


def test_the_sites_mapping_goes_before_everything() -> None:
    source = Source(columns={"number": "Serial", "person_id": "status"})
    matches, _ = match("cards", ["number", "Serial", "status"], "cards.csv", source)
    assert [(m.column, m.reason) for m in matches] == [
        (None, "left over"), ("number", "site.toml"), ("person_id", "site.toml"),
    ]  # fmt: skip


def test_the_sites_synonyms() -> None:
    matches, _ = match("cards", ["Dongle", "holder"], "cards.csv", None, {"number": ["dongle"]})
    assert [(m.column, m.reason) for m in matches] == [
        ("number", "the site's synonym"), ("person_id", "synonym"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("header", "columns", "says"),
    [
        (["number", "Number"], {}, "two columns are called 'number'"),
        (["number"], {"person_id": "Tenant rf"}, r"no column 'Tenant rf'.*\[sources.cards\]"),
        (["number", "Tenant ref"], {"person_id": "Tenant reff"}, "the nearest is 'Tenant ref'"),
        (["No"], {"number": "no", "card_id": "No"}, "for both number and card_id"),
    ],
)
def test_conflicts_are_one_clear_line(
    header: list[str], columns: dict[str, str], says: str
) -> None:
    with pytest.raises(InputError, match=says):
        match("cards", header, "cards.csv", Source(columns=columns))
