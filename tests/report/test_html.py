"""The report in a real browser: it opens from a file, asks no network, and takes decisions.

Skipped, with the reason, where there is no Chromium; what can be told from the text alone is
tested without one.
"""

import base64
import csv
import hashlib
import io
import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import report_sample as sample

from audit.decisions import COLUMNS
from audit.report.html import render

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
TODAY = "2026-10-05"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine: the report is not tested in a browser")
    with playwright.sync_playwright() as running:
        launched = running.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield launched
        launched.close()


@pytest.fixture
def visit(browser: Any, tmp_path: Path) -> Iterator[Any]:
    """Opens a record as a file; at the end: nothing asked for, nothing thrown, nothing run."""
    asked: list[str] = []
    wrong: list[str] = []
    contexts = []

    def open_report(
        record: dict[str, Any], plan: dict[str, Any] | None = None, **settings: Any
    ) -> Any:
        before = settings.pop("before", "")
        file = tmp_path / "report.html"
        file.write_bytes(render(record, plan or {}).encode())
        context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **settings})
        context.set_default_timeout(5_000)
        contexts.append(context)
        if before:
            context.add_init_script(before)
        page = context.new_page()
        page.clock.set_fixed_time(f"{TODAY}T10:00:00")
        page.on("request", lambda request: asked.append(request.url))
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", lambda said: said.type == "error" and wrong.append(said.text))
        page.goto(file.as_uri())
        return page

    yield open_report
    for context in contexts:
        context.close()
    own = (tmp_path / "report.html").as_uri()
    # A saved file goes through a blob: address, which never leaves the browser.
    assert {url for url in asked if not url.startswith((own, "blob:"))} == set()
    assert wrong == []


def violations(page: Any, *rules: str, within: str | None = None) -> list[str]:
    from axe_playwright_python.sync_playwright import Axe

    # axe counts time itself: a fixed clock would not let it finish.
    page.clock.resume()
    asked = {"resultTypes": ["violations"], **({"runOnly": list(rules)} if rules else {})}
    found = Axe().run(page, within, asked).response["violations"]
    return [f"{one['id']}: {one['nodes'][0]['html'][:200]}" for one in found]


def saved(page: Any) -> list[dict[str, str]]:
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save decisions").click()
    assert waiting.value.suggested_filename.startswith("decisions ")
    text = Path(waiting.value.path()).read_text("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert text.splitlines()[0].split(",") == list(COLUMNS)
    return rows


def first(page: Any) -> Any:
    return page.locator(".finding").first


def decide(finding: Any, word: str, **cells: str) -> None:
    if not finding.locator("details").evaluate("details => details.open"):
        finding.locator("summary").first.click()
    finding.get_by_role("radio", name=word.capitalize()).check()
    for label, text in cells.items():
        name = re.compile("^" + label.replace("_", " "), re.IGNORECASE)
        finding.get_by_role("textbox", name=name).fill(text)


# ---- the text itself


def test_the_same_record_gives_the_same_bytes() -> None:
    made = sample.record()
    assert render(made, sample.plan(made)) == render(sample.record(), sample.plan(made))


def test_style_and_script_are_allowed_by_their_digests_alone() -> None:
    page = render(sample.record(3), {})
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)
    assert policy is not None
    directives = dict(part.split(None, 1) for part in policy[1].split("; "))
    assert directives["default-src"] == "'none'"
    assert "unsafe" not in policy[1]
    for kind, block in (("style", r"<style>(.*?)</style>"), ("script", r"<script>(.*?)</script>")):
        inside = re.findall(block, page, re.S)
        assert len(inside) == 1
        digest = base64.b64encode(hashlib.sha256(inside[0].encode()).digest()).decode()
        assert directives[f"{kind}-src"] == f"'sha256-{digest}'"


def test_nothing_in_the_page_points_outside() -> None:
    made = sample.record()
    page = render(made, sample.plan(made))
    addresses = set(re.findall(r"[a-z]+://[^\s\"'<>)]+", page))
    assert addresses == {"http://www.w3.org/2000/svg"}, "the name of a language, never fetched"


def test_hostile_texts_do_not_end_the_data_block() -> None:
    page = render(*sample.hostile())
    page.encode("utf-8")
    blocks = re.findall(r'<script type="application/json" id="data">(.*?)</script>', page, re.S)
    assert len(blocks) == 1
    assert "<" not in blocks[0]
    assert json.loads(blocks[0])["site"]["name"] == sample.HOSTILE[0]
    assert page.count("<script") == 2
    assert not re.search(r"<(img|iframe|object|embed|link|base)\b", page)


def test_repeated_texts_stand_once() -> None:
    made = sample.record(2000)
    assert len(render(made, {})) < len(json.dumps(made)) * 0.6


# ---- in the browser


@pytest.mark.parametrize(
    ("made", "state", "tone", "word"),
    [
        (sample.record(), "act-now", "bad", "Act today"),
        (sample.clean(), "in-order", "good", "In order"),
        (sample.empty(), "not-enough-run", "unknown", "Not enough was run"),
    ],
)
def test_the_first_screen_says_good_bad_or_unknown(
    visit: Any, made: dict[str, Any], state: str, tone: str, word: str
) -> None:
    page = visit(made | {"verdict": sample.verdict(state, "so it stands")})
    assert page.locator("#verdict-word").inner_text() == word
    assert page.locator("#verdict").inner_text() == "So it stands."
    assert tone in (page.locator("#verdict-box").get_attribute("class") or "").split()
    assert page.locator("#verdict").bounding_box()["y"] < 600
    assert "not a fire risk assessment" in page.locator(".caution").inner_text()


def test_what_was_not_looked_at_stands_beside_what_to_do_first(visit: Any) -> None:
    made = sample.record()
    page = visit(made, sample.plan(made))
    unseen = page.locator("#unseen").inner_text()
    assert "The loaded table is absent" in unseen
    assert "life safety" in unseen
    assert page.locator("#unseen").bounding_box()["y"] < 900
    actions = page.locator("#first li")
    assert "mechanical exit" in actions.first.inner_text()
    actions.first.get_by_role("link").click()
    assert page.locator("#status").inner_text().startswith("7 of 60 findings")


def test_nothing_assessed_never_reads_as_in_order(visit: Any) -> None:
    made = sample.clean()
    for outcome in made["outcomes"]:
        outcome.update(state="not-assessed", reason="the table is absent")
    made["outcomes"][0].update(state="failed", reason="ValueError")
    page = visit(made | {"verdict": sample.verdict("incomplete", "1 rule failed")})
    assert page.locator("#verdict-word").inner_text() == "Incomplete"
    assert not page.locator("#verdict-box").evaluate("box => box.classList.contains('good')")


def test_filters_search_and_groups(visit: Any) -> None:
    made = sample.record()
    drawn = sample.plan(made)
    page = visit(made, drawn)

    def count() -> int:
        said = page.locator("#status").inner_text()
        return 0 if said.startswith("None") else int(re.split(r"\D", said)[0])

    def reset() -> None:
        page.get_by_role("button", name="Show all again").click()
        assert count() == 60

    rules = [one["rule"] for one in made["findings"]]
    page.get_by_label("Rule", exact=True).select_option("card-dormant")
    assert count() == rules.count("card-dormant")
    reset()
    page.locator("#filter-immediate").uncheck()
    assert count() == sum(one["priority"] != "immediate" for one in made["findings"])
    reset()
    page.get_by_label("Place", exact=True).select_option("b0")
    inside = [one for one in made["findings"] if drawn["where"].get(one["id"], [""])[0][:2] == "b0"]
    assert count() == len(inside) > 0
    reset()
    page.get_by_label("Since last time").select_option("returned")
    assert count() == sum(one["change"] == "returned" for one in made["findings"])
    reset()
    person = next(one for one in made["findings"] if "person" in one["subjects"])
    page.get_by_label("Person", exact=True).fill(person["subjects"]["person"][0].lower())
    assert count() == 1
    reset()
    page.get_by_label("Door", exact=True).fill("main entrance")
    assert count() > 0
    reset()
    page.get_by_label("Search in everything").fill("keypad  P0002")
    assert count() == 1
    reset()
    for kind in ("priority", "rule", "place", "door", "person", "remedy"):
        page.get_by_label("Grouped by").select_option(kind)
        assert count() == 60
        assert page.locator(".group h3").count() > 1 or kind == "door"


def test_a_finding_tells_why_what_to_do_and_where_it_stands(visit: Any) -> None:
    made = sample.record()
    wanted = next(one for one in made["findings"] if one["rule"] == "pin-guessable")
    page = visit(made, sample.plan(made))
    page.get_by_label("Search in everything").fill(wanted["id"])
    first(page).locator("summary").click()
    body = first(page).locator(".body").inner_text()
    for text in [wanted["why"], wanted["remedy"], *wanted["references"], wanted["id"]]:
        assert text in body
    assert f"pins.csv, row {wanted['sources'][0]['row']}" in body
    assert "keypad column" in body


def test_a_decision_is_checked_kept_over_a_reload_and_saved(visit: Any) -> None:
    made = sample.record()
    page = visit(made)
    shown = first(page).get_attribute("id").removeprefix("f-")
    wanted = next(one for one in made["findings"] if one["id"] == shown)
    assert wanted["life_safety"], "life safety stands before the rest"
    decide(first(page), "keep")
    status = first(page).get_by_role("status")
    for missing in ("a reason", "your name", "a date", "document", "competent person"):
        assert missing in status.inner_text()
    assert page.locator("#decisions-said").inner_text().startswith("1 incomplete")
    decide(first(page), "keep", reason="Guarded day and night", decided_by="A. Person")
    decide(first(page), "keep", until="2027-10-06")
    assert "no later than 5 October 2027" in status.inner_text()
    decide(first(page), "keep", until="2027-10-05")
    assert "document" in status.inner_text()
    decide(first(page), "keep", document="letter 12 of 1 October 2026")
    decide(first(page), "keep", competent_person="B. Person")
    assert status.inner_text() == "Complete: keep until 5 October 2027."
    page.reload()
    assert page.locator("#decisions-said").inner_text().startswith("1 decided now")
    assert "decided: keep until 5 October 2027" in first(page).inner_text()
    assert saved(page) == [
        {
            "site": made["site"]["name"],
            "review": made["as_of"],
            "finding_id": wanted["id"],
            "decision": "keep",
            "reason": "Guarded day and night",
            "decided_by": "A. Person",
            "decided_on": TODAY,
            "until": "2027-10-05",
            "document": "letter 12 of 1 October 2026",
            "competent_person": "B. Person",
            "rule": wanted["rule"],
            "subject": "; ".join(sorted({v for vs in wanted["subjects"].values() for v in vs})),
        }
    ]


def test_every_kind_of_decision_has_its_own_needs(visit: Any) -> None:
    page = visit(sample.record())
    page.get_by_label("Rule", exact=True).select_option("card-dormant")
    rows = page.locator(".finding")
    decide(rows.nth(0), "revoke")
    decide(rows.nth(1), "correct", reason="typing error")
    decide(rows.nth(2), "later", reason="parts ordered", decided_by="C", until="2026-10-04")
    assert "still to come" in rows.nth(2).get_by_role("status").inner_text()
    decide(rows.nth(3), "later", reason="parts ordered", decided_by="C", until="2026-12-01")
    kept = saved(page)
    assert sorted(row["decision"] for row in kept) == ["correct", "later", "revoke"]
    assert [row["until"] for row in kept if row["decision"] == "later"] == ["2026-12-01"]
    page.get_by_role("button", name="Show the incomplete").click()
    assert page.locator("#status").inner_text().startswith("1 of 60")


def test_cells_that_a_spreadsheet_would_run_are_saved_as_text(visit: Any) -> None:
    page = visit(sample.record())
    page.get_by_label("Rule", exact=True).select_option("card-dormant")
    texts = ["=1+1", "+44", "-2", "@SUM(A1)", '  =HYPERLINK("x")', "＝1", 'quoted "so", and\nso']
    for place, text in enumerate(texts[:6]):
        decide(page.locator(".finding").nth(place), "revoke", reason=text)
    kept = {row["reason"] for row in saved(page)}
    assert kept == {"'" + text.strip() for text in texts[:6]}
    decide(page.locator(".finding").nth(0), "revoke", reason=texts[6])
    assert texts[6] in {row["reason"] for row in saved(page)}


def test_earlier_decisions_are_carried_ended_or_withdrawn(visit: Any) -> None:
    made = sample.record()
    before = {"decision": "keep", "reason": "agreed", "decided_by": "D", "decided_on": "2026-03-01",
              "until": "2027-02-28", "document": "letter 3", "competent_person": "E",
              "state": "in force"}  # fmt: skip
    made["findings"][0]["decision"] = before
    made["findings"][1]["decision"] = {**before, "until": "2026-08-31", "state": "lapsed"}
    made["findings"][2]["decision"] = before
    page = visit(made)
    assert "2 more under a decision" in page.locator("#tallies").inner_text()
    row = page.locator(f"#f-{made['findings'][2]['id']}")
    row.locator("summary").click()
    row.get_by_role("button", name="Withdraw it").click()
    ended = page.locator(f"#f-{made['findings'][1]['id']}")
    assert "ended on 31 August 2026: open again" in ended.inner_text()
    kept = {one["finding_id"]: one for one in saved(page)}
    assert kept.keys() == {made["findings"][0]["id"], made["findings"][1]["id"]}
    assert kept[made["findings"][0]["id"]]["document"] == "letter 3"
    row = page.locator(f"#f-{made['findings'][0]['id']}")
    row.locator("summary").click()
    row.get_by_role("button", name="Decide anew").click()
    decide(row, "keep", until="2027-09-30")
    again = {one["finding_id"]: one for one in saved(page)}[made["findings"][0]["id"]]
    assert (again["decided_on"], again["until"]) == (TODAY, "2027-09-30")


def test_where_the_browser_keeps_nothing_the_page_says_so_and_still_saves(visit: Any) -> None:
    refuse = (
        "Object.defineProperty(window, 'localStorage', {get() { throw new Error('refused'); }})"
    )
    page = visit(sample.record(), before=refuse)
    decide(first(page), "revoke", reason="no longer needed")
    assert "keeps nothing between visits" in page.locator("#decisions-said").inner_text()
    assert len(saved(page)) == 1


def test_work_goes_on_from_a_saved_file(visit: Any, tmp_path: Path) -> None:
    made = sample.record()
    page = visit(made)
    one = made["findings"][0]["id"]
    two = next(f["id"] for f in made["findings"][1:] if not f["life_safety"])
    file = tmp_path / "decisions.csv"
    file.write_text(
        f"finding_id;decision;reason;decided_by;decided_on;until;document\r\n"
        f'{one};revoke;"\'=1+1; ""so""";E;2026-10-01;;\r\n'
        f"{two};later;waiting;E;2026-10-01;2026-12-01;\r\n"
        f"0000000000000000;keep;x;E;;;\r\n",
        "utf-8-sig",
    )
    page.locator("input[type=file]").set_input_files(file)
    page.get_by_text("2 decisions taken from the file; 1 row left").wait_for()
    kept = {row["finding_id"]: row for row in saved(page)}
    assert kept[one]["reason"] == '\'=1+1; "so"'
    assert kept[two]["until"] == "2026-12-01"


def test_one_decision_for_a_group_gives_each_finding_its_line(visit: Any) -> None:
    made = sample.record()
    page = visit(made)
    page.get_by_label("Rule", exact=True).select_option("card-dormant")
    page.get_by_role("button", name=re.compile("Decide all 6")).click()
    dialog = page.get_by_role("dialog")
    assert dialog.get_by_role("button", name="Decide 6").is_disabled()
    dialog.get_by_role("radio", name="Revoke").check()
    dialog.get_by_role("button", name="Decide 6").click()
    wanted = {one["id"] for one in made["findings"] if one["rule"] == "card-dormant"}
    assert {row["finding_id"] for row in saved(page)} == wanted


def crowded(visit: Any, **settings: Any) -> Any:
    """One of everything that the page can show, and everything open."""
    made = sample.record(12)
    made["notices"] = ["decisions.csv row 3: keep needs reason; the decision changes nothing"]
    drawn = sample.plan(made, dwellings=3)
    page = visit(made, {**drawn, "roll": drawn["roll"][:6]}, **settings)
    decide(first(page), "keep", reason="so")
    for summary in page.locator("details.same > summary").all():
        summary.click()
    return page


def test_axe_finds_nothing(visit: Any) -> None:
    page = crowded(visit)
    assert violations(page) == []
    page.get_by_role("button", name=re.compile("Decide all")).first.click()
    assert violations(page, within="#bulk-dialog") == []
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Print…").click()
    assert violations(page, within="#print-dialog") == []


def test_axe_finds_the_contrast_good_in_the_dark(visit: Any) -> None:
    assert violations(crowded(visit, color_scheme="dark"), "color-contrast") == []


@pytest.mark.parametrize("made", [sample.empty(), sample.clean()])
def test_axe_finds_nothing_where_nothing_was_found(visit: Any, made: dict[str, Any]) -> None:
    assert violations(visit(made, viewport={"width": 400, "height": 800})) == []


def test_a_finding_is_decided_with_the_keyboard_alone(visit: Any) -> None:
    page = visit(sample.record())
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.locator(".finding summary").first.focus()
    page.keyboard.press("Enter")
    page.locator(".finding .body").first.wait_for()
    for _ in range(12):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.type") == "radio":
            break
    page.keyboard.press("Space")
    page.keyboard.press("Tab")
    page.keyboard.type("Withdrawn on the spot")
    assert [(row["decision"], row["reason"]) for row in saved(page)] == [
        ("revoke", "Withdrawn on the spot")
    ]


def test_hostile_texts_are_shown_and_never_obeyed(visit: Any) -> None:
    made, drawn = sample.hostile()
    page = visit(made, drawn)
    assert page.locator("#site").inner_text() == sample.HOSTILE[0]
    for summary in page.locator(".finding summary").all():
        summary.click()
    for summary in page.locator("details.same > summary").all():
        summary.click()
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.evaluate("window.hit") is None
    assert page.locator("img, iframe, object, embed, svg script, bdi *").count() == 0
    assert page.locator("script").count() == 2
    text = page.locator("body").inner_text()
    assert "[U+202E]" in text
    for seen in ("\u202e", "\u2066", "\x07", "\x1b"):
        assert seen not in page.content()


def test_ten_thousand_findings_stay_paged(visit: Any) -> None:
    made = sample.record(10_000)
    page = visit(made, sample.plan(made))
    assert page.locator(".finding").count() == 40
    assert page.locator("#status").inner_text().startswith("10,000 findings, 1 to 40 shown")
    page.get_by_label("Search in everything").fill("P0")
    assert page.locator(".finding").count() <= 40
    page.get_by_role("button", name="Show all again").click()
    page.get_by_role("button", name="Further findings").click()
    assert "41 to 80 shown" in page.locator("#status").inner_text()
    page.get_by_label("Page", exact=True).select_option("249")
    assert "9,961 to 10,000 shown" in page.locator("#status").inner_text()
    assert page.locator("*").count() < 12_000
    ids: set[str] = set()
    for number in range(0, 250, 50):
        page.get_by_label("Page", exact=True).select_option(str(number))
        ids |= set(page.locator(".finding").evaluate_all("all => all.map(one => one.id)"))
    assert len(ids) == 200


def test_on_paper_every_finding_stands_and_no_control(visit: Any, tmp_path: Path) -> None:
    pypdf = pytest.importorskip("pypdf")
    made = sample.record(90)
    page = visit(made, sample.plan(made))
    page.pdf(path=tmp_path / "printed.pdf", format="A4")
    reader = pypdf.PdfReader(tmp_path / "printed.pdf")
    text = "\n".join(sheet.extract_text() for sheet in reader.pages)
    for one in made["findings"]:
        assert one["id"] in text
    assert "Signature" in text
    for control in ("Search in everything", "Earlier findings", "Decide all", "Skip to"):
        assert control not in text


def test_a_link_to_a_finding_opens_it(visit: Any) -> None:
    made = sample.record()
    page = visit(made)
    wanted = made["findings"][-1]["id"]
    page.evaluate(f"location.hash = '{wanted}'")
    page.locator(f"#f-{wanted} .body").wait_for()


@pytest.mark.parametrize("width", [400, 800, 1280])
def test_nothing_runs_over_the_side(visit: Any, width: int) -> None:
    made = sample.record()
    made["findings"][0]["summary"] = "W" * 300
    page = visit(made, sample.plan(made), viewport={"width": width, "height": 800})
    first(page).locator("summary").click()
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_sample_is_a_record() -> None:
    from audit.record import Record

    for made in (sample.record(), sample.empty(), sample.clean(), sample.hostile()[0]):
        Record.model_validate(made)


def test_the_next_run_takes_what_the_page_saved(visit: Any) -> None:
    import datetime as dt

    from audit.decisions import DecisionRow, decided
    from audit.record import Record

    made = sample.record()
    page = visit(made)
    page.get_by_label("Rule", exact=True).select_option("card-dormant")
    rows = page.locator(".finding")
    decide(rows.nth(0), "revoke", reason="=1+1")
    decide(rows.nth(1), "keep", reason="needed", decided_by="Zoë", until="2027-10-05")
    decide(rows.nth(2), "later", reason='waiting, "soon"', until="2026-11-01")
    kept = [DecisionRow(place, row) for place, row in enumerate(saved(page), start=2)]
    findings, notices = decided(
        Record.model_validate(made).findings, kept, dt.date.fromisoformat(made["as_of"])
    )
    assert notices == []
    taken = [one.decision for one in findings if one.decision]
    assert sorted((one.decision, one.state, one.reason, one.decided_by) for one in taken) == [
        ("keep", "in force", "needed", "Zoë"),
        ("later", "in force", 'waiting, "soon"', "Zoë"),
        ("revoke", "noted", "=1+1", ""),
    ]


def test_decisions_on_findings_not_looked_at_again_are_carried(visit: Any, tmp_path: Path) -> None:
    made = sample.record()
    page = visit(made)
    unseen = made["not_reassessed"][0]["id"]
    file = tmp_path / "earlier.csv"
    header = ",".join(COLUMNS[2:8])
    file.write_text(f"{header}\n{unseen},keep,so,F,2026-07-01,2027-06-30\n", "utf-8")
    page.locator("input[type=file]").set_input_files(file)
    page.get_by_text("1 decision taken from the file.").wait_for()
    decide(first(page), "revoke")
    assert {row["finding_id"] for row in saved(page)} >= {unseen}
    assert len(saved(page)) == 2
