"""The terminal face of a visit: what it prints, what it sends, and that it never loses what was typed."""

from __future__ import annotations

import io
import os
import signal
from collections.abc import Collection, Iterator
from dataclasses import replace

import pytest
from fake_desk import (
    AT,
    BASE,
    CHOOSE,
    DONE,
    END,
    EVERY,
    KEYS,
    OVERVIEW,
    PLATE,
    READ,
    READINGS,
    REASON,
    RESULT,
    STANDARD,
    SURE,
    TEMPERATURE,
    WHY,
    Answer,
    FakeDesk,
    refused,
    with_readings,
)
from prompt_toolkit.input import PipeInput, create_pipe_input
from prompt_toolkit.output import DummyOutput

from wqverify.entry.plain_lines import KEY_CHARACTERS, Terminal, drawn, prompt
from wqverify.entry.screen import Act, Choice, Line, Screen, Section, chosen
from wqverify.entry.terminal import BACK, SAVED, AtTerminal, FromLines, Reader, Typed, reader_of, step_through
from wqverify.errors import CouldNotRun
from wqverify.show.printable import visible

AGAIN = "wqverify step"
T = Terminal(80, 24, visible)


@pytest.fixture
def typist() -> Iterator[PipeInput]:
    with create_pipe_input() as given:
        yield given


def walk(desk: FakeDesk, reader: Reader) -> list[str]:
    printed: list[str] = []
    step_through(desk, printed.append, visible, AGAIN, reader)
    return printed


class Typist(AtTerminal):
    """Types the next strokes when asked; when there are none left, Ctrl-C, so that no test waits forever."""

    def __init__(self, given: PipeInput, strokes: tuple[str, ...]) -> None:
        super().__init__(given, DummyOutput())
        self._given, self._strokes = given, list(strokes)
        self.asked: list[str] = []

    def read(self, before: str, single: Collection[str], back: str) -> Typed:
        self.asked.append(before)
        self._given.send_text(self._strokes.pop(0) if self._strokes else "\x03")
        return super().read(before, single, back)


def typed(desk: FakeDesk, given: PipeInput, *strokes: str) -> list[str]:
    return walk(desk, Typist(given, strokes))


def piped(desk: FakeDesk, lines: str) -> list[str]:
    printed: list[str] = []
    step_through(desk, printed.append, visible, AGAIN, FromLines(io.StringIO(lines), printed.append))
    return printed


def whole(screen: Screen, before: Screen | None = None, terminal: Terminal = T) -> str:
    return "\n".join([*drawn(screen, before, terminal), prompt(screen, terminal)])


# ---------------------------------------------------------------- what is drawn


@pytest.mark.parametrize("screen", EVERY, ids=lambda one: f"{one.kind} {one.form}")
@pytest.mark.parametrize("width", [40, 80, 200])
def test_every_screen_fits_the_terminal(screen: Screen, width: int) -> None:
    lines = drawn(screen, None, Terminal(width, 24, visible))
    assert len(lines) < 24
    assert max(map(len, lines)) < width or screen.kind == "result"  # its table stands as it is
    assert len(prompt(screen, Terminal(width, 24, visible))) <= width - 14


def test_a_question_stands_with_what_is_beside_it() -> None:
    assert whole(with_readings("10.02", "10.04"), STANDARD) == (
        "\n"
        "output held since 08:16\n"
        "As found, point 2 · 13 answered, about 18 to go\n"
        "  Type each reading as the display shows it, at the interval of the procedure,\n"
        "  until they agree.\n"
        "  The buffer has pH 10.06 at 18.4 °C.\n"
        "  Tolerance: 0.10 pH.\n"
        "  last time: 10.02 (2026-02-03)\n"
        "  2 readings, not steady yet.\n"
        "  so far 10.02 10.04\n"
        "Reading, pH (Enter ends the list): "
    )


def test_of_the_next_reading_only_what_changed_is_printed() -> None:
    assert drawn(with_readings("10.02", "10.04"), with_readings("10.02"), T) == [
        "  2 readings, not steady yet.",
        "  so far 10.02 10.04",
    ]


def test_what_the_visit_gives_so_far_is_printed_once_in_a_part() -> None:
    found = Line("running", "Error in pH 7.00: -0.183 pH: fail")
    decision = replace(REASON, heading="Decision", lines=(found, Line("value", "slope so far: 96.2 %")))
    why = replace(PLATE, heading="Decision", lines=(found, Line("running", "Slope: 96.2 %: pass")))
    adjusted = replace(why, heading="Adjusted")
    assert found.text in whole(decision)
    assert found.text not in whole(why, decision)
    assert "Slope: 96.2 %: pass" in whole(why, decision)
    assert found.text in whole(adjusted, why)


def test_a_proposal_stands_in_brackets_with_where_it_comes_from() -> None:
    text = whole(TEMPERATURE, STANDARD)
    assert text.endswith("Temperature of the buffer, °C [18.4]: ")
    assert "  [18.4]: point 1\n" in text


def test_choices_are_numbered_with_the_word_that_can_be_typed_and_its_note() -> None:
    text = whole(STANDARD)
    assert "  1  B7-4471: pH 7.00 at 25 °C · usable until 2026-06-01\n" in text
    assert "  2  B10-1180: pH 10.01 at 25 °C · usable until 2026-05-01\n" in text
    assert "  1 routine   2 call-out   3 after repair\n" in whole(REASON)


def test_a_choice_whose_label_says_it_stands_once() -> None:
    forms = (
        Choice("same as as_found", "same as as found: nothing was changed since"),
        Choice("not done", "not done, because"),
        Choice("T-07", "T-07  Ines Quill", "in training"),
        Choice("7", "buffer of pH 7.00"),
    )
    assert drawn(replace(REASON, choices=forms), None, T)[-4:] == [
        "  1  same as as found: nothing was changed since",
        "  2  not done, because",
        "  3  T-07  Ines Quill · in training",
        "  4  7: buffer of pH 7.00",
    ]


BOTTLES = replace(
    STANDARD, choices=(Choice("12", "pH 7.00"), Choice("3", "pH 10.01"), Choice("1", "pH 4.01", "opened"))
)


@pytest.mark.parametrize(("keyed", "meant"), [("1", "1"), ("12", "12"), ("3", "3"), ("2", "3")])
def test_a_bottle_whose_id_is_a_number_is_chosen_by_its_id(typist: PipeInput, keyed: str, meant: str) -> None:
    desk = FakeDesk([BOTTLES, RESULT])
    typed(desk, typist, f"{keyed}\r")
    assert [act.text for act in desk.acts] == [meant]


def test_a_number_that_means_another_choice_is_not_printed_before_one() -> None:
    assert drawn(BOTTLES, None, T)[-3:] == [
        "     12: pH 7.00",
        "  2  3: pH 10.01",
        "     1: pH 4.01 · opened",
    ]


def test_a_text_nobody_sees_does_not_stand_in_the_way_of_a_number() -> None:
    stops = Screen("choose", form="word", choices=(Choice("2", "AIT-2101"), Choice("3", "AIT-2205")))
    assert chosen(stops, "2") == "3"
    assert chosen(replace(SURE, choices=(Choice("2", "yes, 2"), Choice("", "no"))), "2") == ""
    people = replace(WHY, choices=(Choice("2", "2  Ines Quill"), Choice("1", "1  Bo Tarn")))
    assert chosen(people, "2") == "2"


def test_a_correction_is_asked_for_by_its_question() -> None:
    right = replace(
        WHY,
        choices=(),
        label="Temperature of the buffer: 18.4: what is right? An empty answer takes it back.",
    )
    assert prompt(right, T) == "what is right? "
    assert prompt(replace(right, label="Told by whoever was there " * 4), T) == "Answer: "


def test_quotes_are_shown_as_they_were_typed() -> None:
    odd = replace(TEMPERATURE, notice=f"{chr(39)}5\\'6\"{chr(39)} is not a number.", refused=True)
    assert "Not taken: '5'6\"' is not a number." in drawn(odd, None, T)


def test_words_with_hyphens_are_not_parted_between_two_lines() -> None:
    lines = drawn(replace(PLATE, help=f"{'word ' * 14}AIT-2101 is read"), None, T)
    assert "  AIT-2101 is read" in lines


def test_a_number_is_asked_without_numbered_choices() -> None:
    text = whole(
        replace(TEMPERATURE, choices=(Choice("18.4", "", "point 1"), Choice("19.0", "", "last time")))
    )
    assert "\n  18.4 · point 1\n  19.0 · last time\n" in text


def test_an_overview_shows_each_part_with_its_state() -> None:
    assert "  1 The visit: answered   2 As found: now   3 Cleaned: open\n" in whole(OVERVIEW)


def test_a_long_overview_stands_in_two_columns() -> None:
    sections = tuple(Section(f"part_{n}", f"Part {n} of the sheet", "open") for n in range(36))
    lines = drawn(replace(OVERVIEW, choices=(), sections=sections), None, T)
    assert len(lines) < 24
    assert "  1  Part 0 of the sheet · open          19  Part 18 of the sheet · open" in lines


def test_of_many_choices_those_that_do_not_fit_are_counted() -> None:
    many = tuple(Choice(f"B{n}", f"a buffer with number {n}", "usable until 2026-06-01") for n in range(90))
    lines = drawn(replace(STANDARD, choices=many), None, T)
    assert len(lines) == 23
    shown = sum("a buffer" in line for line in lines)
    assert lines[-1] == f"     and {90 - shown} more: type its name or number, ? lists all"


def test_a_long_help_gives_way_to_the_choices() -> None:
    lines = drawn(replace(STANDARD, help="Pour it into a clean cup. " * 60), None, T)
    assert len(lines) < 24
    assert any(line.endswith("… (? shows the rest)") for line in lines)
    assert any("B10-1180" in line for line in lines)


def test_a_long_label_stands_above_the_line() -> None:
    long = replace(TEMPERATURE, label="What the reference thermometer shows in the stirred bath " * 2)
    text = whole(long)
    assert "\nWhat the reference thermometer shows in the stirred bath" in text
    assert text.endswith("\n  °C [18.4]: ")


def test_a_long_proposal_stands_above_the_line() -> None:
    text = whole(replace(PLATE, proposal="soft cloth, 5 % hydrochloric acid for 2 min, rinsed"))
    assert "  [soft cloth, 5 % hydrochloric acid for 2 min, rinsed]\n" in text
    assert text.endswith("Serial on the plate [Enter keeps it]: ")


def test_the_title_is_printed_when_it_changes_and_the_held_output_always() -> None:
    title = "pH calibration in buffers of AIT-2101 · 2026-03-03 AIT-2101.toml · open"
    assert title in drawn(STANDARD, CHOOSE, T)
    assert title not in drawn(TEMPERATURE, STANDARD, T)
    assert drawn(TEMPERATURE, STANDARD, T)[1] == "output held since 08:16"


def test_what_may_stay_open_says_so() -> None:
    assert prompt(AT, T) == "Time (Enter leaves it out): "
    assert prompt(replace(AT, required=True), T) == "Time: "


def test_a_result_stands_as_it_is_with_page_and_next_step() -> None:
    assert drawn(RESULT, END, T) == [
        "",
        "L1-2026-0001: pH calibration in buffers of AIT-2101",
        "  as found    fail",
        "  as left     pass",
        "",
        "Next: sign it in the terminal, wqverify sign L1-2026-0001 --by IQU",
        "Page: book/pages/L1-2026-0001.pdf",
    ]
    assert whole(DONE).endswith("\n\n  1 other visits\nDone. (Enter ends): ")


def test_whether_one_is_sure_is_asked_in_full_with_the_way_back_on_enter() -> None:
    assert drawn(SURE, READINGS, T)[1:] == [
        "As found, point 2: readings",
        "1.002 has 3 decimals, the reading before has 2; the display shows its last zero",
        "too. Is it 1.002?",
        "  1 yes, 1.002   2 no, type it again",
    ]
    assert prompt(SURE, T) == "Is it 1.002? [no, type it again]: "


def test_all_that_is_usual_stands_on_one_screen() -> None:
    usual = tuple(Line("usual", f"Part {n} of the head: as it always was") for n in range(30))
    screen = replace(READ, label="All as usual?", lines=usual)
    lines = drawn(screen, None, T)
    assert len(lines) < 24
    assert all(f"Part {n} of the head" in " ".join(lines).replace("   ", " ") for n in range(30))


def test_nothing_from_a_sheet_steers_the_terminal() -> None:
    evil = "\x1b[2J\u202eab"
    screen = Screen(
        "question",
        title=evil, sheet=evil, state=evil, held=evil, place=evil, heading=evil, label=evil, unit=evil,
        help=evil, form="word", proposal=evil, proposed=evil, standing=(evil,),
        choices=(Choice("a", evil, evil),), lines=(Line("value", evil),), cautions=(evil,), notice=evil,
        text=evil, page=evil, sections=(Section("a", evil, evil),),
    )  # fmt: skip
    for kind in ("question", "overview", "result"):
        text = whole(replace(screen, kind=kind))
        assert "\x1b" not in text
        assert "\u202e" not in text
        assert text.count("[U+001B][2J[U+202E]ab") > 8 or kind == "result"


# ---------------------------------------------------------------- what is sent


def test_every_screen_kind_is_answered_to_the_result(typist: PipeInput) -> None:
    desk = FakeDesk(EVERY)
    printed = typed(
        desk,
        typist,
        *("2\r", "\r", "1\r", "2026-03-03\r", "1\r", "B10-1180\r", "19.0\r", "10.02\r", "\r"),
        *("B7-4459\r", "\r", "1\r", "2\r", "3\r", "1\r", "1\r"),
    )
    assert [act.text for act in desk.acts] == [
        "new", "", "routine", "2026-03-03", "yes", "B10-1180", "19.0", "10.02", "", "B7-4459", "", "1.002",
        "no time", "cleaned", "run", "other visits",
    ]  # fmt: skip
    assert {act.do for act in desk.acts} == {"answer"}
    assert [act.path for act in desk.acts] == [screen.path for screen in EVERY[:-1]]
    assert printed[-1] == "Page: book/pages/L1-2026-0001.pdf"


@pytest.mark.parametrize("key", [key for key in KEYS if key.key not in "?&"], ids=lambda key: key.do)
def test_a_key_on_an_empty_line_acts_at_once(typist: PipeInput, key: object) -> None:
    desk = FakeDesk([TEMPERATURE, RESULT])
    typed(desk, typist, key.key)
    assert desk.acts == [Act(key.do, path=TEMPERATURE.path)]


def test_the_same_character_inside_a_text_is_text(typist: PipeInput) -> None:
    desk = FakeDesk([PLATE, RESULT])
    typed(desk, typist, "a!^_+=@#?~&\r")
    assert desk.acts == [Act("answer", "a!^_+=@#?~&", PLATE.path)]


def test_a_key_acts_again_once_the_line_is_emptied(typist: PipeInput) -> None:
    desk = FakeDesk([PLATE, RESULT])
    typed(desk, typist, "ab\x7f\x7f#")
    assert desk.acts == [Act("overview", path=PLATE.path)]


def test_a_key_that_does_nothing_on_this_screen_says_so_and_is_no_text(typist: PipeInput) -> None:
    desk = FakeDesk([replace(PLATE, keys=()), RESULT])
    printed = typed(desk, typist, "%", "PH-7\r")
    assert "% does nothing here; ? lists the keys." in printed
    assert desk.acts == [Act("answer", "PH-7", PLATE.path)]


def test_what_was_typed_behind_a_key_that_does_nothing_is_not_taken_for_the_answer(typist: PipeInput) -> None:
    desk = FakeDesk([replace(PLATE, keys=()), RESULT])
    printed = typed(desk, typist, "#7\r", "PH-7\r")
    assert "Typed ahead and not taken: 7" in printed
    assert [act.text for act in desk.acts] == ["PH-7"]


def test_an_answer_that_begins_with_a_key_is_typed_after_a_blank(typist: PipeInput) -> None:
    desk = FakeDesk([replace(PLATE, keys=()), RESULT])
    printed = typed(desk, typist, "?", " #7\r")
    assert "  An answer that begins with such a character is typed after a blank." in printed
    assert desk.acts == [Act("answer", "#7", PLATE.path)]


def test_every_key_of_a_visit_is_known_to_the_face() -> None:
    from wqverify.entry import drawn as engine

    assert {key.key for key in engine._KEYS} == set(KEY_CHARACTERS)


def test_the_question_mark_lists_the_keys_and_asks_again(typist: PipeInput) -> None:
    desk = FakeDesk([STANDARD, RESULT])
    printed = typed(desk, typist, "?2\r")
    assert desk.acts == [Act("answer", "B10-1180", STANDARD.path)]
    assert "  !  not done, because" in printed
    assert "  &  stop for now" in printed
    assert sum("B10-1180" in line for line in printed) == 2


def test_each_reading_is_an_act_of_its_own_and_an_empty_line_ends_them(typist: PipeInput) -> None:
    desk = FakeDesk([READINGS, with_readings("10.02"), with_readings("10.02", "10.04"), RESULT])
    typed(desk, typist, "10.02\r10.04\r\r")
    assert [act.text for act in desk.acts] == ["10.02", "10.04", ""]


def test_a_typed_number_is_a_reading_where_a_number_is_asked(typist: PipeInput) -> None:
    desk = FakeDesk([replace(TEMPERATURE, choices=(Choice("18.4"), Choice("19.0"))), RESULT])
    typed(desk, typist, "2\r")
    assert [act.text for act in desk.acts] == ["2"]


def test_a_thousand_answers_typed_without_a_pause_arrive_as_typed(typist: PipeInput) -> None:
    answers = [f"{n / 100:.2f}" for n in range(1000)]
    desk = FakeDesk([*[READINGS] * 1000, RESULT])
    typed(desk, typist, "".join(f"{answer}\r" for answer in answers))
    assert [act.text for act in desk.acts] == answers


def test_what_is_longer_than_the_terminal_is_read_a_page_at_a_time(typist: PipeInput) -> None:
    cautions = tuple(f"Caution number {n}, which is read before the work." for n in range(60))
    desk = FakeDesk([replace(READ, cautions=cautions), RESULT])
    reader = Typist(typist, ("\r", "\r", "1\r"))
    printed = walk(desk, reader)
    assert [act.text for act in desk.acts] == ["yes"]
    assert reader.asked == ["(40 more lines: Enter) ", "(17 more lines: Enter) ", "Cautions read: "]
    assert sum("Caution number" in line for line in printed) == 60


def test_who_answers_before_the_last_page_is_heard(typist: PipeInput) -> None:
    cautions = tuple(f"Caution number {n}, which is read before the work." for n in range(60))
    desk = FakeDesk([replace(READ, cautions=cautions), RESULT])
    typed(desk, typist, "yes\r")
    assert [act.text for act in desk.acts] == ["yes"]


# ---------------------------------------------------------------- what is refused


def test_a_refused_entry_comes_back_with_the_cursor_at_its_end(typist: PipeInput) -> None:
    again = refused(TEMPERATURE, "'9' is not within 0 to 50 °C.")
    desk = FakeDesk([TEMPERATURE, RESULT], {1: again})
    printed = typed(desk, typist, "19\r", "\x7f2\r")
    at = printed.index("Not taken: '9' is not within 0 to 50 °C.")
    assert " ".join(printed[at + 1 : at + 3]) == BACK
    assert [act.text for act in desk.acts] == ["19", "12"]


@pytest.mark.parametrize(
    ("strokes", "sent"),
    [
        ("7.02\r", "7.02"),
        ("\x1b[200~7.02\x1b[201~\r", "7.02"),  # pasted
        ("\x1b[C!\r", "7,02!"),  # right
        ("\x1b[F5\r", "7,025"),  # End
        ("\x1b[H1\r", "17,02"),  # Home
        ("\x1b[D\x1b[D\x7f.\r", "7.02"),  # left, left, Backspace
        ("\x157.02\r", "7.02"),  # Ctrl-U
        ("\r", "7,02"),
    ],
)
def test_typing_replaces_what_was_refused_and_arrows_edit_it(
    typist: PipeInput, strokes: str, sent: str
) -> None:
    desk = FakeDesk([TEMPERATURE, RESULT], {1: refused(TEMPERATURE, "'7,02' is not a number.")})
    typed(desk, typist, "7,02\r", strokes)
    assert [act.text for act in desk.acts] == ["7,02", sent]


def test_a_key_pressed_over_a_refused_text_acts(typist: PipeInput) -> None:
    desk = FakeDesk([TEMPERATURE, RESULT], {1: refused(TEMPERATURE, "'7,02' is not a number.")})
    printed = typed(desk, typist, "7,02\r", "?", "^")
    assert [act.do for act in desk.acts] == ["answer", "back"]
    assert "  ^  back to the question before" in printed


def test_a_refused_text_survives_the_list_of_keys(typist: PipeInput) -> None:
    desk = FakeDesk([TEMPERATURE, RESULT], {1: refused(TEMPERATURE, "'7,02' is not a number.")})
    typed(desk, typist, "7,02\r", "?", "\x7f\x7f\x7f.02\r")
    assert [act.text for act in desk.acts] == ["7,02", "7.02"]


def unable(problem: Exception) -> Answer:
    """Return what a full disk answers."""

    def answer(_act: Act) -> Screen:
        raise problem

    return answer


@pytest.mark.parametrize(
    ("problem", "said"),
    [
        (
            CouldNotRun("NOT SAVED: a.jsonl could not be written (No space left on device)."),
            "a.jsonl could not",
        ),
        (OSError(28, "No space left on device"), "No space left on device."),
    ],
)
def test_a_full_disk_is_said_and_the_same_question_stays(
    typist: PipeInput, problem: Exception, said: str
) -> None:
    desk = FakeDesk([TEMPERATURE, RESULT], {1: unable(problem), 2: unable(problem)})
    printed = typed(desk, typist, "18.4\r", "\r", "\r")
    assert [act.text for act in desk.acts] == ["18.4", "18.4", "18.4"]
    told = " ".join(printed)
    assert told.count(f"NOT SAVED: {said}") == 2
    assert told.count("NOT SAVED") == 2
    assert "Enter tries again, Ctrl-C stops for now." in told
    assert "Not taken" not in told


def test_a_disk_that_stays_full_does_not_keep_anybody(typist: PipeInput) -> None:
    full = unable(OSError(28, "No space left on device"))
    printed = typed(FakeDesk([TEMPERATURE], {1: full, 2: full}), typist, "!", "\x03")
    assert "NOT SAVED: No space left on device. Press the key again, or stop with Ctrl-C." in " ".join(
        printed
    )
    assert printed[-2:] == [SAVED, "  wqverify step"]


def test_lines_of_a_program_do_not_go_on_over_a_full_disk() -> None:
    desk = FakeDesk([TEMPERATURE, RESULT], {1: unable(CouldNotRun("NOT SAVED: the disk is full."))})
    with pytest.raises(CouldNotRun, match="NOT SAVED: the disk is full"):
        piped(desk, "18.4\n18.5\n")
    assert len(desk.acts) == 1


def test_after_a_refusal_the_question_is_not_printed_again(typist: PipeInput) -> None:
    again = refused(STANDARD, "B10-1180 was usable until 2026-05-01.")
    desk = FakeDesk([STANDARD, RESULT], {1: again})
    printed = typed(desk, typist, "2\r", "\x151\r")
    assert [act.text for act in desk.acts] == ["B10-1180", "B7-4471"]
    assert sum(line.startswith("As found, point 2") for line in printed) == 1


def test_what_was_typed_ahead_of_a_refusal_is_no_answer_and_is_said(typist: PipeInput) -> None:
    again = refused(READINGS, "'1o.02' is not a reading.")
    desk = FakeDesk([READINGS, RESULT], {1: again})
    printed = typed(desk, typist, "1o.02\r10.04\r10.05\r", "\x1510.02\r")
    assert [act.text for act in desk.acts] == ["1o.02", "10.02"]
    assert "Typed ahead and not taken: 10.04 10.05" in printed


def test_what_was_typed_ahead_does_not_answer_whether_one_is_sure(typist: PipeInput) -> None:
    desk = FakeDesk([READINGS, RESULT], {1: lambda _act: SURE})
    printed = typed(desk, typist, "1.002\r1\r", "2\r")
    assert [act.text for act in desk.acts] == ["1.002", ""]
    assert "Typed ahead and not taken: 1" in printed


def test_what_was_typed_behind_a_key_is_kept(typist: PipeInput) -> None:
    desk = FakeDesk([PLATE, WHY, RESULT])
    typed(desk, typist, "!2\r")
    assert [act.text for act in desk.acts] == ["", "no time"]


# ---------------------------------------------------------------- stopping


@pytest.mark.parametrize("stop", ["\x03", "\x04", "&"])
def test_stopping_says_that_everything_is_saved_and_how_to_go_on(typist: PipeInput, stop: str) -> None:
    desk = FakeDesk([TEMPERATURE, RESULT])
    printed = typed(desk, typist, stop)
    assert desk.acts == [Act("stop", path=TEMPERATURE.path)]
    assert printed[-2:] == ["Saved in 2026-03-03 AIT-2101.toml. To go on:", "  wqverify step"]


def test_a_half_typed_entry_is_named_when_stopping(typist: PipeInput) -> None:
    desk = FakeDesk([TEMPERATURE, RESULT])
    printed = typed(desk, typist, "18\x03")
    assert "Not taken, because Enter was not pressed: 18" in printed
    assert [act.do for act in desk.acts] == ["stop"]


def test_ctrl_d_stops_with_text_in_the_line_too(typist: PipeInput) -> None:
    desk = FakeDesk([TEMPERATURE, RESULT])
    printed = typed(desk, typist, "18\x01\x04")  # the cursor at the first character
    assert "Not taken, because Enter was not pressed: 18" in printed
    assert [act.do for act in desk.acts] == ["stop"]


def test_enter_at_a_result_ends(typist: PipeInput) -> None:
    desk = FakeDesk([DONE])
    assert AGAIN not in "".join(typed(desk, typist, "\r"))
    assert desk.acts == [Act("stop", path="?result")]


def test_ctrl_c_while_an_answer_is_stored_stops_after_it(typist: PipeInput) -> None:
    def interrupted(_act: Act) -> Screen:
        os.kill(os.getpid(), signal.SIGINT)
        return AT

    desk = FakeDesk([TEMPERATURE, AT, RESULT], {1: interrupted})
    printed = typed(desk, typist, "18.4\r")
    assert [act.do for act in desk.acts] == ["answer", "stop"]
    assert printed[-2:] == ["Saved in 2026-03-03 AIT-2101.toml. To go on:", "  wqverify step"]


def test_ctrl_c_pressed_twice_ends_at_once(typist: PipeInput) -> None:
    def interrupted(_act: Act) -> Screen:
        os.kill(os.getpid(), signal.SIGINT)
        os.kill(os.getpid(), signal.SIGINT)
        raise AssertionError("the second Ctrl-C was not obeyed")

    printed = typed(FakeDesk([TEMPERATURE, RESULT], {1: interrupted}), typist, "18.4\r")
    assert printed[-2:] == [SAVED, "  wqverify step"]


def test_where_the_desk_says_nothing_the_way_on_is_said_here(
    typist: PipeInput, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fake_desk.STOPPED", replace(BASE, kind="question"))
    printed = typed(FakeDesk([TEMPERATURE]), typist, "\x03")
    assert printed[-2:] == [SAVED, "  wqverify step"]


# ---------------------------------------------------------------- lines from a program


def test_piped_lines_are_answers_and_a_single_key_is_a_key() -> None:
    desk = FakeDesk([PLATE, TEMPERATURE, WHY, RESULT])
    printed = piped(desk, "PH-30418\n!\nno time\n")
    assert desk.acts == [
        Act("answer", "PH-30418", PLATE.path),
        Act("not done", path=TEMPERATURE.path),
        Act("answer", "no time", WHY.path),
    ]
    assert "Serial on the plate [PH-30417]: PH-30418" in printed


def test_the_end_of_piped_lines_is_stopping() -> None:
    desk = FakeDesk([PLATE, TEMPERATURE, RESULT])
    printed = piped(desk, "PH-30418\n")
    assert [act.do for act in desk.acts] == ["answer", "stop"]
    assert printed[-2:] == ["Saved in 2026-03-03 AIT-2101.toml. To go on:", "  wqverify step"]


def test_an_empty_piped_line_keeps_the_proposal_and_windows_line_ends_are_no_text() -> None:
    desk = FakeDesk([PLATE, TEMPERATURE, RESULT])
    piped(desk, "\r\n18.6\r\n")
    assert [act.text for act in desk.acts] == ["", "18.6"]


def test_a_byte_that_is_no_text_arrives_by_its_code_and_can_be_refused() -> None:
    desk, printed = FakeDesk([PLATE, TEMPERATURE, RESULT]), list[str]()
    lines = io.TextIOWrapper(io.BytesIO(b"PH-\xe93\n18.6\n"), "utf-8")
    step_through(desk, printed.append, visible, AGAIN, reader_of(lines, io.StringIO(), printed.append))
    assert [act.text for act in desk.acts] == ["PH-\\xe93", "18.6"]
