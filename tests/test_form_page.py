"""The form in a real browser on a bare page: what is typed goes where it belongs, loss is said."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from form_page import HOSTILE, QUESTIONS, FewQuestions, Wire, bare, chromium

from wqverify.entry.screen import Choice, plain

pytestmark = pytest.mark.slow
READY = ".wqv[data-open='0'][data-settled='true']"
SIZES = [(1280, 900), (800, 1100)]
WATCH = """() => {
  window.told = [];
  const at = (what) => window.told.push([what, performance.now()]);
  const root = document.querySelector(".wqv");
  root.addEventListener("keydown", (event) => event.key === "Enter" && at("enter"), true);
  const alert = document.querySelector(".wqv-alert");
  new MutationObserver(() => at(alert.hidden ? "gone" : alert.innerText)).observe(alert, { childList: true });
}"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as one:
        yield one


class Typing:
    """A page with the form on it and somebody who types."""

    def __init__(
        self, browser: Any, size: tuple[int, int] = SIZES[0], light: bool = True, touch: bool = False
    ) -> None:
        self.page = browser.new_page(
            viewport={"width": size[0], "height": size[1]}, has_touch=touch, is_mobile=touch
        )
        self.page.set_default_timeout(10_000)
        self.desk = FewQuestions()
        self.wire: Wire = bare(self.page, self.desk, light)

    def type(self, *answers: str) -> None:
        """Type answers and Enter after each, without a pause."""
        for answer in answers:
            self.page.keyboard.type(answer)
            self.page.keyboard.press("Enter")

    def ready(self, more: str = "") -> None:
        self.page.wait_for_selector(READY + more)

    def to_readings(self) -> None:
        self.type("1", "18.4")
        self.ready("[data-form=numbers]")

    def text(self, part: str) -> str:
        node = self.page.locator(f".wqv-{part}")
        return str(node.inner_text()).replace("\n\n", "\n") if node.is_visible() else ""

    def box(self) -> str:
        return str(self.page.input_value(".wqv-box"))


@pytest.fixture
def typing(browser: Any) -> Iterator[Typing]:
    one = Typing(browser)
    yield one
    one.page.close()


def test_what_is_typed_ahead_goes_to_the_question_it_was_typed_for(typing: Typing) -> None:
    typing.type("2", "18.4", "10.02", "10.01", "10.01", "", "a remark")
    typing.ready("[data-kind=end]")
    assert typing.desk.stored == [
        (QUESTIONS[0].path, "B10-1180"),
        (QUESTIONS[1].path, "18.4"),
        ("reading", "10.02"),
        ("reading", "10.01"),
        ("reading", "10.01"),
        ("remarks", "a remark"),
    ]
    acts = [message for message in typing.wire.heard if message["do"] != "show"]
    assert [act["seq"] for act in acts] == sorted({act["seq"] for act in acts})
    assert acts[1]["path"] == QUESTIONS[1].path


def test_one_box_stays_through_the_whole_visit_and_has_the_focus(typing: Typing) -> None:
    typing.page.evaluate("window.first = document.querySelector('.wqv-box')")
    for answers in (("1",), ("18.4",), ("7.06", "7.06", ""), ("",)):
        typing.type(*answers)
        typing.ready()
        assert typing.page.evaluate("document.activeElement === window.first && window.first.isConnected")


def test_a_refused_answer_stops_what_was_typed_after_it(typing: Typing) -> None:
    typing.to_readings()
    typing.type("7,06", "7.07", "7.08")
    typing.ready()
    assert typing.text("notice") == 'Not taken: "7,06" is not a number as a display shows it, such as 7.06.'
    assert typing.text("dropped") == "Typed ahead and not stored: 7.07, 7.08"
    assert typing.desk.readings == []
    typing.type("7.06")
    typing.ready()
    assert typing.desk.readings == ["7.06"]
    assert typing.text("dropped") == ""


def test_a_refused_answer_stands_in_the_box_again_and_typing_replaces_it(typing: Typing) -> None:
    typing.to_readings()
    for keys, sent in ((("7", ".", "0", "6"), "7.06"), (("End", "Backspace", "ArrowLeft", "4"), "7,046")):
        typing.type("7,066" if "End" in keys else "7,06")
        typing.ready("[data-refused=true]")
        assert typing.box().startswith("7,06")
        for key in keys:
            typing.page.keyboard.press(key)
        typing.page.keyboard.press("Enter")
        typing.ready()
        assert typing.wire.heard[-1]["text"] == sent
    assert typing.desk.readings == ["7.06"]


def test_a_refused_answer_does_not_follow_to_another_question(typing: Typing) -> None:
    typing.to_readings()
    typing.type("7,06")
    typing.ready("[data-refused=true]")
    typing.page.keyboard.type("#")
    typing.ready("[data-kind=overview]")
    assert typing.box() == ""
    typing.page.locator(".wqv-choice").first.click()
    typing.ready("[data-kind=question]")
    typing.type("7,06")
    typing.ready("[data-refused=true]")
    typing.page.locator(".wqv-key").first.click()
    typing.ready("[data-kind=aside]")
    assert typing.box() == ""
    assert typing.text("dropped") == ""


def test_a_key_that_does_nothing_here_says_so_and_is_no_text(typing: Typing) -> None:
    typing.type("1")
    typing.ready("[data-form=number]")
    typing.page.keyboard.type("%7")
    assert typing.text("notice") == (
        "% does nothing here. An answer that begins with such a character is typed after a blank."
    )
    typing.page.keyboard.press("Enter")
    typing.ready()
    assert typing.text("dropped") == "Typed ahead and not stored: 7"
    typing.type(" %7")
    typing.ready("[data-form=numbers]")
    assert typing.desk.stored[1:] == [(QUESTIONS[1].path, " %7")]  # a desk takes the blank off


def test_the_help_says_how_an_answer_begins_with_a_key(typing: Typing) -> None:
    typing.desk.act = lambda _act: replace(typing.desk.screen, notice="! not done")  # type: ignore[method-assign]
    typing.page.keyboard.type("?")
    typing.ready()
    assert typing.text("notice") == (
        "! not done\nAn answer that begins with such a character is typed after a blank."
    )


def shown_with(page: Any, **changed: Any) -> None:
    """Show a screen as another view would leave it."""
    message = {"screen": json.loads(json.dumps(plain(replace(QUESTIONS[0], **changed))))}
    page.evaluate("message => window.from_python(message)", message)


def test_a_bottle_whose_id_is_a_number_is_chosen_by_its_id(typing: Typing) -> None:
    bottles = (Choice("12", "pH 7.00"), Choice("3", "pH 10.01"), Choice("1", "1, pH 4.01"))
    shown_with(typing.page, choices=bottles)
    assert [node.split("\n") for node in typing.page.locator(".wqv-choice").all_inner_texts()] == [
        ["12: pH 7.00"],
        ["2", "3: pH 10.01"],
        ["1, pH 4.01"],
    ]
    for keyed, meant in (("1", "1"), ("12", "12"), ("2", "3"), ("3", "3")):
        typing.page.fill(".wqv-box", keyed)
        assert typing.page.locator(".wqv-chosen").get_attribute("data-text") == meant
    typing.page.fill(".wqv-box", "")
    shown_with(typing.page, kind="choose", choices=(Choice("2", "AIT-2101"), Choice("3", "AIT-2205")))
    typing.page.fill(".wqv-box", "2")
    assert typing.page.locator(".wqv-chosen").get_attribute("data-text") == "3"


def test_a_choice_whose_label_says_it_stands_once(typing: Typing) -> None:
    forms = (Choice("same as as_found", "same as as found: nothing was changed"), Choice("B7", "pH 7"))
    shown_with(typing.page, choices=forms)
    names = typing.page.locator(".wqv-name").all_inner_texts()
    assert names == ["same as as found: nothing was changed", "B7: pH 7"]


def test_a_kernel_that_dies_in_a_run_is_noticed_and_one_that_goes_on_is_heard(typing: Typing) -> None:
    typing.type("1", "18.4", "7.06", "", "")
    typing.ready("[data-kind=end]")
    acts: list[dict[str, Any]] = []
    carry = typing.wire.carry

    def says_working_and_dies(message: dict[str, Any]) -> None:
        if message["do"] == "answer":
            acts.append(message)
            typing.wire.back({"view": message["view"], "seq": message["seq"], "working": True})

    typing.wire.carry = says_working_and_dies  # type: ignore[method-assign]
    typing.type("1")
    typing.page.wait_for_timeout(1500)
    assert typing.text("alert") == ""
    assert typing.text("notice") == "Working: every answer is on disk, the result is being made."
    typing.page.wait_for_selector(".wqv-alert strong")
    assert typing.text("alert").startswith(
        "NO SIGN OF LIFE from the kernel for 5 s\n"
        "Whether the run was finished is seen when the form is open again.\n"
        "If this stays, run the cell again: Shift+Enter. Everything acknowledged before is on disk."
    )
    typing.wire.back({"view": acts[0]["view"], "seq": acts[0]["seq"], "working": True})
    assert typing.text("alert") == ""
    typing.wire.carry = carry  # type: ignore[method-assign]
    typing.wire.carry(acts[0])
    typing.ready("[data-kind=result]")


def test_a_question_in_between_gets_no_answer_that_was_typed_for_another(typing: Typing) -> None:
    typing.to_readings()
    typing.type("77", "7.05", "7.04")
    typing.ready("[data-kind=aside]")
    assert typing.text("dropped") == "Typed ahead and not stored: 7.05, 7.04"
    assert typing.box() == ""
    assert ("answer", "7.05") not in typing.desk.stored
    typing.type("2")
    typing.ready("[data-kind=question]")
    assert typing.desk.stored[-1] == ("answer", "no")


def test_a_number_marks_its_choice_and_enter_takes_it(typing: Typing) -> None:
    typing.page.keyboard.type("2")
    assert typing.page.locator(".wqv-chosen").inner_text().startswith("2\nB10-1180")
    assert typing.desk.stored == []
    typing.page.keyboard.press("Enter")
    typing.ready("[data-form=number]")
    assert typing.desk.stored == [(QUESTIONS[0].path, "B10-1180")]


def test_enter_takes_the_proposal_and_a_key_held_down_is_one_press(typing: Typing) -> None:
    assert typing.text("proposal") == "Enter takes B7-4471 (last time)"
    typing.page.keyboard.down("Enter")
    for _ in range(5):
        typing.page.keyboard.down("Enter")  # the browser reports a key that is held as repeated
    typing.page.keyboard.up("Enter")
    typing.ready()
    assert typing.desk.stored == [(QUESTIONS[0].path, "B7-4471")]
    assert typing.text("notice") == ""


def test_a_key_acts_on_the_empty_box_only(typing: Typing) -> None:
    typing.type("1", "18.4", "7.06", "")
    typing.ready("[data-form=notes]")
    typing.page.keyboard.type("what? #3!")
    assert typing.box() == "what? #3!"
    typing.page.keyboard.press("Control+a")
    typing.page.keyboard.press("Backspace")
    typing.page.keyboard.type("#")
    typing.ready("[data-kind=overview]")
    assert typing.box() == ""
    assert typing.wire.heard[-1]["do"] == "overview"


def test_the_overview_says_the_state_of_each_section_in_words(typing: Typing) -> None:
    typing.page.keyboard.type("#")
    typing.ready("[data-kind=overview]")
    shown = [text.split("\n") for text in typing.page.locator(".wqv-choice").all_inner_texts()]
    assert ["1", "Before anything is touched", "answered"] in shown
    assert ["6", "Check buffer", "not done"] in shown


def test_it_works_with_tab_and_space_alone(typing: Typing) -> None:
    for _ in range(3):  # Enter, then the first and the second choice
        typing.page.keyboard.press("Tab")
    assert typing.page.evaluate("document.activeElement.dataset.text") == "B10-1180"
    assert typing.page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    typing.page.keyboard.press("Space")
    typing.ready("[data-form=number]")
    assert typing.desk.stored == [(QUESTIONS[0].path, "B10-1180")]


def test_the_second_tap_of_a_double_tap_is_no_answer_to_the_next_question(typing: Typing) -> None:
    typing.page.locator(".wqv-choice").first.dblclick()
    typing.page.locator(".wqv-key").first.dblclick()
    typing.ready()
    assert [act["do"] for act in typing.wire.heard] in (["show", "answer"], ["show", "answer", "not done"])
    assert typing.desk.stored == [(QUESTIONS[0].path, "B7-4471")]


def test_typing_goes_into_the_box_wherever_the_focus_is(typing: Typing) -> None:
    typing.page.keyboard.press("Tab")
    typing.page.keyboard.type("2")
    assert typing.box() == "2"


def test_not_saved_is_said_within_a_second_and_goes_when_the_answer_is_acknowledged(typing: Typing) -> None:
    typing.to_readings()
    typing.page.evaluate(WATCH)
    typing.wire.cut = True
    typing.type("7.06", "7.07")
    typing.page.wait_for_selector(".wqv-alert strong")
    assert typing.text("alert").startswith("NOT SAVED: 7.06\nTyped ahead and waiting: 7.07\n")
    assert typing.page.locator(".wqv-alert").get_attribute("role") == "alert"
    told = typing.page.evaluate("window.told")
    entered = next(at for what, at in told if what == "enter")
    said = next(at for what, at in told if what.startswith("NOT SAVED"))
    assert said - entered < 1000
    assert typing.desk.readings == []
    typing.wire.cut = False
    typing.page.click(".wqv-again")
    typing.ready()
    assert typing.text("alert") == ""
    assert typing.desk.readings == ["7.06", "7.07"]


def test_what_was_stored_without_acknowledgement_is_stored_once_when_it_is_sent_again(typing: Typing) -> None:
    typing.to_readings()
    typing.wire.deaf = True
    typing.type("7.06")
    typing.page.wait_for_selector(".wqv-alert strong")
    assert typing.desk.readings == ["7.06"]
    typing.wire.deaf = False
    typing.page.click(".wqv-again")
    typing.ready()
    assert typing.desk.readings == ["7.06"]


def test_a_kernel_that_is_gone_is_noticed_before_anything_is_typed(typing: Typing) -> None:
    typing.wire.cut = True
    typing.page.wait_for_selector(".wqv-alert strong")
    assert typing.text("alert").startswith("NO ANSWER from the kernel\nWhat is typed now is not saved.")
    typing.wire.cut = False
    typing.page.wait_for_selector(".wqv-alert", state="hidden")


def test_an_answer_that_was_not_saved_is_offered_again_when_the_form_is_opened_again(typing: Typing) -> None:
    typing.to_readings()
    typing.wire.cut = True
    typing.type("7.06")
    typing.page.wait_for_selector(".wqv-alert strong")
    lost = typing.wire.heard[-1]
    typing.wire.cut = False
    typing.page.reload()
    typing.ready()
    assert typing.box() == "7.06"
    assert typing.text("dropped") == "Not saved before: 7.06. Enter sends it again."
    typing.page.keyboard.press("Enter")
    typing.ready()
    assert typing.desk.readings == ["7.06"]
    assert typing.wire.heard[-1] == lost  # with its own name, so that it could not be stored twice


def test_what_was_half_typed_and_typed_ahead_is_not_forgotten_either(typing: Typing) -> None:
    typing.to_readings()
    typing.page.keyboard.type("7.0")
    typing.page.reload()
    typing.ready()
    assert typing.box() == "7.0"
    typing.wire.cut = True
    typing.type("6", "7.07")
    typing.page.keyboard.type("7.")
    typing.page.wait_for_selector(".wqv-alert strong")
    typing.wire.cut = False
    typing.page.reload()
    typing.ready()
    assert typing.box() == "7.06"
    assert typing.text("dropped").endswith("\nTyped ahead and not stored: 7.07, 7.")


def test_a_tablet_can_type_a_negative_number_and_is_not_covered_by_its_keys(browser: Any) -> None:
    one = Typing(browser, SIZES[1], touch=True)
    one.page.locator(".wqv-choice").first.tap()
    one.ready("[data-form=number]")
    one.page.locator(".wqv-sign").tap()
    one.type("1.5")
    one.ready()
    assert one.desk.stored == [(QUESTIONS[0].path, "B7-4471"), (QUESTIONS[1].path, "-1.5")]
    one.page.keyboard.type("#")
    one.ready("[data-kind=overview]")
    one.page.locator(".wqv-choice").first.tap()
    one.ready("[data-kind=question]")
    one.page.locator(".wqv-key").first.tap()
    one.ready("[data-kind=aside]")
    one.page.wait_for_function("document.activeElement.className === 'wqv-heading'")
    one.page.close()


def test_text_of_a_sheet_is_shown_as_text(typing: Typing) -> None:
    typing.type("1")
    typing.ready("[data-form=number]")
    assert HOSTILE in typing.text("lines")
    typing.type("18.4", "7.06", "", HOSTILE)
    typing.ready("[data-kind=end]")
    typing.type("1")
    typing.ready("[data-kind=result]")
    assert HOSTILE in typing.text("text")
    assert typing.page.evaluate("window.harmed") is None
    assert typing.page.locator(".wqv img, .wqv b, .wqv script").count() == 0


def test_the_trace_names_its_lines_where_they_are_drawn(typing: Typing) -> None:
    typing.to_readings()
    typing.type("7.08", "7.06")
    typing.ready()
    words = typing.page.locator(".wqv-svg text").all_text_contents()
    assert {"upper limit 7.07", "reference 7.02", "lower limit 6.97", "7.06 pH"} <= set(words)
    heights = {
        node: float(typing.page.locator(f".wqv-mark-{node}").get_attribute("y1"))
        for node in ("high", "reference", "low")
    }
    assert heights["high"] < heights["reference"] < heights["low"]


@pytest.mark.parametrize("size", SIZES, ids=["1280x900", "800x1100"])
@pytest.mark.parametrize("light", [True, False], ids=["light", "dark"])
def test_targets_are_big_and_the_question_is_above_the_fold(
    browser: Any, size: tuple[int, int], light: bool
) -> None:
    one = Typing(browser, size, light)
    for answers in ((), ("1",), ("18.4",), ("7.08", "7.07", "7.06")):
        one.type(*answers)
        one.ready()
        for target in one.page.locator(".wqv :is(button, input):visible").all():
            assert target.bounding_box()["height"] >= 56
        for part in ("heading", "label", "box"):
            shape = one.page.locator(f".wqv-{part}").bounding_box()
            assert shape["y"] >= 0
            assert shape["y"] + shape["height"] <= size[1] - 140  # what Lab takes of the window
        assert one.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    one.page.close()
