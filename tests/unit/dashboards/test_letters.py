"""Letters as text, HTML and messages; a company's own templates and what is wrong with them."""

from __future__ import annotations

import datetime as dt
from email import message_from_bytes
from email.policy import SMTP, default
from pathlib import Path

import polars as pl
import pytest

from dashboards.letters import LetterTemplates, TemplateFault, letter_message
from dashboards.letters.examples import examples
from dashboards.letters.files import entry_file
from dashboards.letters.sheet import letter_sheet
from dashboards.letters.templates import NAMES
from pipelines.letters.matters import SCHEMA
from pipelines.steps.letter_texts import written_letters
from schemas.letters import LETTERS

MOMENT = dt.datetime(2026, 3, 31, 8, 15)
SCRIPT = "<script>window.planted = true</script>"


def _templates(folder: Path | None = None) -> LetterTemplates:
    return LetterTemplates(
        folder, maker="Tarnfell", signature="Desk", currency="USD", as_of=dt.date(2026, 3, 31)
    )


def _letter(**values) -> dict:
    return examples()[0] | {"agency_email": "claims@fennel.example"} | values


def _message(letter: dict, **more):
    given = {"maker": "Tarnfell", "sender": "warranty@tarnfell.example", "written_at": MOMENT}
    raw = letter_message(letter, _templates(), **(given | more))
    return raw, message_from_bytes(raw, policy=default)


def test_the_letter_tells_decision_reasons_documents_money_and_cautions() -> None:
    """In this order, in text and in HTML, each value once at the least."""
    letter = _letter(
        claim="WC-7", decision="The claim waits.", reasons=["Filed on 2026-01-02."],
        clauses=["Condition 4 of 20"], documents=["water test"], forms=["A report."],
        document_clauses=["Condition 15 of 20"], documents_due_on=dt.date(2026, 4, 30),
        cautions=["Acids burn."], money_notes=["Labor: agreed."], appeal="To appeal, answer.",
    )  # fmt: skip
    order = ["WC-7", "The claim waits.", "Filed on 2026-01-02.", "[Condition 4 of 20]",
             "water test", "A report.", "[Condition 15 of 20]", "1,234.50", "Labor: agreed.",
             "To appeal, answer.", "Acids burn.", "Desk"]  # fmt: skip
    for said in (_templates().text(letter), _templates().html(letter)):
        places = [said.index(part) for part in order]
        assert places == sorted(places)
        assert "30 april 2026" in said.lower()


def test_a_day_that_is_past_is_told_so() -> None:
    """The day itself is ahead, the day after it is past; a letter without a day names none."""
    asked = {"documents": ["log"], "forms": ["A log."], "document_clauses": [""]}
    heads = [
        _templates().text(_letter(documents_due_on=day, **asked))
        for day in (dt.date(2026, 3, 31), dt.date(2026, 3, 30), None)
    ]
    assert "WHAT IS MISSING, BY 31 MARCH 2026\n\n1. log\n   A log.\n\n" in heads[0]
    assert "STILL MISSING, DUE SINCE 30 MARCH 2026\n\n1. log\n   A log.\n\n" in heads[1]
    assert "WHAT IS MISSING\n\n1. log" in heads[2]


def test_all_examples_fill_our_templates() -> None:
    """Full and bare, of every verdict and ruling; no value shows as None or as a list."""
    assert len(examples()) == 16
    for letter in examples():
        assert set(letter) == set(LETTERS)
        for said in (_templates().text(letter), _templates().html(letter)):
            assert "None" not in said
            assert "[]" not in said
            assert letter["decision"] in said


def test_html_shows_markup_as_text() -> None:
    """A script in a name, a reason or the agency's name is no element of the letter."""
    letter = _letter(site_name=SCRIPT, agency_name=SCRIPT, reasons=[SCRIPT], clauses=["c"])
    sheet = letter_sheet(letter, _templates())
    assert "<script" not in sheet
    assert sheet.count("&lt;script&gt;") >= 3
    assert "default-src 'none'" in sheet


def test_the_message_is_whole_and_parses_without_defects() -> None:
    """RFC 5322: one From and Date; RFC 2046: text first, then HTML; lines of at most 998."""
    letter = _letter(agency_name="Fénnel, Service", cause_words="door\u2019s gasket " * 90)
    raw, message = _message(letter)
    assert message.defects == []
    assert [part.get_content_type() for part in message.iter_parts()] == ["text/plain", "text/html"]
    assert [part.defects for part in message.iter_parts()] == [[], []]
    assert message["From"].addresses[0].addr_spec == "warranty@tarnfell.example"
    assert message["To"].addresses[0].display_name == "Fénnel, Service"
    assert message["To"].addresses[0].addr_spec == "claims@fennel.example"
    assert message["Date"].datetime == MOMENT.replace(tzinfo=dt.UTC)
    assert message["X-Unsent"] == "1"
    for name in ("From", "To", "Subject", "Date", "Message-ID"):
        assert len(message.get_all(name)) == 1
    assert raw.isascii()
    lines = raw.split(b"\r\n")
    # RFC 5322, 2.1.1: a line has at most 998 characters and should have at most 78.
    assert max(map(len, lines)) <= 78
    assert b"\n" not in b"".join(lines)
    text = message.get_body(("plain",)).get_content()
    assert text.replace("\r\n", "\n") == _templates().text(letter)
    # The short letter, too, travels over a line that carries seven bits.
    assert _message(_letter(cause_words="Füllstand"))[0].isascii()


def test_a_message_without_addresses() -> None:
    """From holds a group without a mailbox (RFC 6854), and there is no To."""
    _, message = _message(_letter(agency_email=None), sender=None)
    assert message["From"].addresses == ()
    assert message["From"].groups[0].display_name == "Tarnfell"
    assert message["To"] is None
    assert message.defects == []


@pytest.mark.parametrize("place", ["claim", "agency_name", "serial", "agency"])
@pytest.mark.parametrize(
    "hostile",
    ["x\r\nBcc: planted@x.example", "x\nBcc: planted@x.example\n\nbody", "x\rBcc: p",
     "x\u2028Bcc: p", "x\x00\x0bBcc: p", '" <planted@x.example>, "'],
)  # fmt: skip
def test_no_value_adds_a_header(place, hostile) -> None:
    """A break or a quote in the data stays inside the header in which it stands."""
    plain = set(_message(_letter())[1].keys())
    raw, message = _message(_letter(**{place: hostile}), maker="Tarn\r\nBcc: p@x.example")
    assert set(message.keys()) == plain
    assert [a.addr_spec for a in message["To"].addresses] == ["claims@fennel.example"]
    assert [a.addr_spec for a in message["From"].addresses] == ["warranty@tarnfell.example"]
    head = raw.split(b"\r\n\r\n")[0]
    assert not any(line.lower().startswith(b"bcc:") for line in head.split(b"\r\n"))


def test_the_same_letter_is_the_same_message() -> None:
    """Nothing is drawn at random or read from the clock."""
    assert _message(_letter())[0] == _message(_letter())[0]
    assert _message(_letter())[0] != _message(_letter(claim="other"))[0]


def test_a_message_can_be_written_again_as_it_is() -> None:
    """What a mail program reads and writes back is the same bytes."""
    raw, _ = _message(_letter())
    assert message_from_bytes(raw, policy=SMTP).as_bytes() == raw


def test_own_templates_take_the_place_of_ours(tmp_path) -> None:
    """Those that are there; parts that begin with _ can be included; the others stay ours."""
    (tmp_path / "_head.j2").write_text("Warranty desk, {{ maker }}", "utf-8")
    (tmp_path / "letter.txt.j2").write_text(
        "{% include '_head.j2' +%}\n{{ decision }}\n{{ total_standing | money }} {{ currency }}\n"
    )
    templates = _templates(tmp_path)
    letter = _letter(decision="It is so.")
    assert templates.text(letter) == "Warranty desk, Tarnfell\nIt is so.\n1,234.50 USD\n"
    assert templates.html(letter) == _templates().html(letter)


MISTAKES = {
    "a name that no letter has": (
        "letter.txt.j2",
        "Dear\n\n{{ agncy }}",
        "line 3: 'agncy' is unde",
    ),
    "a tag that is not closed": (
        "letter.html.j2",
        "<p>\n{% if agency %}",
        "line 2: Unexpected end",
    ),
    "an empty value": ("letter.txt.j2", "{{ ruled_on | day }}", "line 1: "),
    "a way out of the sandbox": (
        "letter.txt.j2",
        "{{ claim.__class__.__mro__ }}",
        "line 1: access to attribute '__class__'",
    ),
    "a change of the values": ("letter.txt.j2", "{{ reasons.append('x') }}", "line 1: "),
    "a file beside the folder": ("letter.txt.j2", "a\n{% include '../x.j2' %}", "line 2: "),
    "a filter that is not there": ("subject.txt.j2", "{{ claim | euro }}", "line 1: No filter"),
    "an empty subject": ("subject.txt.j2", " \n", "gives an empty subject"),
    "a name of no template": ("lettre.txt.j2", "x", "is no template of a letter; name it one of"),
}


@pytest.mark.parametrize(("name", "text", "words"), MISTAKES.values(), ids=MISTAKES)
def test_a_mistake_is_told_with_file_and_line(tmp_path, name, text, words) -> None:
    """One sentence, before any letter is written."""
    (tmp_path / name).write_text(text, "utf-8")
    with pytest.raises(TemplateFault) as caught:
        _templates(tmp_path)
    assert str(caught.value).startswith(f"letters/{name} ")
    assert words in str(caught.value)


def test_a_slip_that_only_one_letter_meets_is_told_too(tmp_path) -> None:
    """What no example shows ends with the same sentence when the letter is written."""
    (tmp_path / "letter.txt.j2").write_text("a\n{{ 1 // (claim | length - 3) }}", "utf-8")
    templates = _templates(tmp_path)
    assert templates.text(_letter(claim="W-1234")) == "a\n0\n"
    with pytest.raises(TemplateFault) as caught:
        templates.text(_letter(claim="W21"))
    assert str(caught.value).startswith("letters/letter.txt.j2 line 2: ")


def test_a_template_that_is_not_utf8_is_told(tmp_path) -> None:
    """An editor that saved it in another encoding is the usual reason."""
    (tmp_path / "letter.txt.j2").write_bytes("Grüße {{ claim }}".encode("cp1252"))
    with pytest.raises(TemplateFault) as caught:
        _templates(tmp_path)
    assert (
        str(caught.value) == "letters/letter.txt.j2: the file is not UTF-8 text; save it as UTF-8."
    )


def test_own_html_is_escaped_too(tmp_path) -> None:
    """A company's template has no need to think of it."""
    (tmp_path / "letter.html.j2").write_text("<p>{{ decision }}</p>", "utf-8")
    assert _templates(tmp_path).html(_letter(decision=SCRIPT)) == (
        "<p>&lt;script&gt;window.planted = true&lt;/script&gt;</p>"
    )


def test_a_subject_is_one_line_of_a_sensible_length(tmp_path) -> None:
    """Whatever the template and the claim number hold."""
    (tmp_path / "subject.txt.j2").write_text("Claim\n\n  {{ claim }}\n", "utf-8")
    assert _templates(tmp_path).subject(_letter(claim="a\tb")) == "Claim a b"
    assert len(_templates(tmp_path).subject(_letter(claim="long " * 99))) <= 200


def test_the_file_of_an_entry_is_named_safely() -> None:
    """Number and claim; what could lead out of the folder, or ask a shell for more, is gone."""
    assert entry_file(7, "WC-1", "eml") == "7-WC-1.eml"
    assert entry_file(7, "../a b/ü;$x", "text") == "7-.._a_b_ü__x.txt"
    assert entry_file(8, "wc_1.2", "html") == "8-wc_1.2.html"


def test_all_three_templates_can_be_replaced() -> None:
    """The names in the README are those of the files that come with the code."""
    readme = next(p for p in Path(__file__).parents if p.name == "tests").parent / "README.md"
    ours = readme.parent / "dashboards" / "templates" / "letters"
    assert sorted(path.name for path in ours.iterdir()) == sorted(NAMES)
    for name in NAMES:
        assert f"letters/{name}" in readme.read_text("utf-8")


def test_a_warning_is_the_first_line_of_every_letter(tmp_path: Path) -> None:
    """In text, HTML and message, also before a company's own template; without one nothing."""
    warning = "Claims are decided by example terms: terms/<a>.toml."
    (tmp_path / "letter.txt.j2").write_text("Our own for {{ claim }}.")
    for folder in (None, tmp_path):
        templates = LetterTemplates(
            folder,
            maker="Tarnfell",
            signature="Desk",
            currency="USD",
            as_of=dt.date(2026, 3, 31),
            warning=warning,
        )
        letter = _letter()
        assert templates.text(letter).startswith(f"{warning}\n\n")
        html = templates.html(letter)
        assert html.startswith(f"<p><strong>{warning.replace('<a>', '&lt;a&gt;')}</strong></p>\n")
        raw = letter_message(letter, templates, maker="Tarnfell", sender=None, written_at=MOMENT)
        body = message_from_bytes(raw, policy=default).get_body(("plain",))
        assert body is not None
        assert body.get_content().startswith(warning)
    assert not _templates().text(_letter()).startswith("Claims are decided")


@pytest.mark.parametrize(("kind", "by"), [("question", ", by 30 April 2026"), ("decision", "")])
def test_a_question_says_by_when_an_answer_is_asked_for(kind, by) -> None:
    """The entry's day, as it is frozen; a letter that asks for none by a day names none."""
    fact = "On file: installed on 2026-01-01, shipped on 2026-01-02. Both cannot be."
    letter = _letter(questions=[fact], documents=[], questions_due_on=None)
    entries = pl.DataFrame(
        {"entry": [5], "claim": [letter["claim"]], "kind": [kind], "reminds": [None],
         "due_on": [dt.date(2026, 4, 30)]}
    )  # fmt: skip
    [frozen] = written_letters(
        _templates(), pl.DataFrame([letter], schema=LETTERS), entries, SCHEMA.to_frame()
    ).to_dicts()
    assert f"WHAT WE ASK YOU{by.upper()}\n\n1. On file: installed" in frozen["text"]
    assert f">What we ask you{by}</h" in frozen["html"]
