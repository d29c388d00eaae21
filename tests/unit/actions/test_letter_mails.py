"""Which letters go into which mail."""

from __future__ import annotations

import pytest

from pipelines.actions.letter_mails import mails_of
from pipelines.events.letters import Register
from pipelines.letters.register import Ends
from tests.desks import make_desk

TO = {1: ("A1", "office@x.example"), 2: ("A2", "office@x.example"), 3: ("A1", "office@x.example"),
      4: ("A1", "other@x.example")}  # fmt: skip


@pytest.mark.parametrize(
    ("one_per_agency", "entries"),
    [(True, [(3, 1), (2,), (4,)]), (False, [(3,), (1,), (2,), (4,)])],
)
def test_a_mail_is_of_one_agency_at_one_address(tmp_path, one_per_agency, entries) -> None:
    """Two agencies that share an address get a mail each; an entry that is named twice is sent
    once; the mail names every claim and holds the letters one after the other."""
    desk = make_desk(tmp_path / "ws")
    rows = {
        entry: {"agency": agency, "email": email, "claim": f"K{entry}"}
        for entry, (agency, email) in TO.items()
    }
    texts = {
        entry: {"subject": f"About K{entry}", "text": f"Text {entry}.", "html": "<p>x</p>"}
        for entry in TO
    }
    register = Register(rows, Ends(4, None))
    mails = mails_of(desk.settings, register, texts, [3, 1, 2, 3, 4], one_per_agency)
    desk.close()
    assert [one.entries for one in mails] == entries
    assert len({one.message_id for one in mails}) == len(mails)
    if one_per_agency:
        text = mails[0].message.get_content()
        assert text.index("About K3") < text.index("About K1") < text.index("Text 3.")
        assert text.index("Text 3.") < text.index("Text 1.")
        assert "2 letters: K3, K1" in mails[0].message["Subject"]
