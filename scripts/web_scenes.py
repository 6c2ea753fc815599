"""What the pictures of the pages show: each scene's page, who is signed in, and what is done before it is taken."""

from __future__ import annotations

from collections.abc import Callable

import msgspec
from playwright.sync_api import Page

# A first password that every account of the demo changes before its first scene.
FIRST_WORDS = "first words to change"


def stay(page: Page) -> None:
    """Take the page as it opens."""


def type_order(page: Page) -> None:
    """A mixed order of an invented patient, one word of it misspelled."""
    page.get_by_label("Tests").fill("PT\naPTT\nCMP\nCBC\nlactat\ntype and screen\nblood culture")
    page.get_by_label("Age", exact=True).fill("61")
    page.get_by_label("Weight, kg").fill("70")
    page.get_by_text("winged set").click()
    page.get_by_text("61 a, 70 kg; winged set").wait_for()


def show_tray(page: Page) -> None:
    """The same order with its doubt settled, moved to the tubes, one of them opened."""
    type_order(page)
    page.get_by_role("button", name="lactate", exact=True).click()
    page.locator("#tube-1-3").click()
    page.locator(".tray").first.evaluate("tray => tray.scrollIntoView()")


def type_small_child(page: Page) -> None:
    """An invented child whose blood limit leaves tests out."""
    page.get_by_label("Tests").fill("K\nCBC\nPT\nCRP\ntype and screen")
    page.get_by_label("Age", exact=True).fill("6")
    page.get_by_label("Unit of the age").select_option("mo")
    page.get_by_label("Weight, kg").fill("6")
    page.get_by_label("Drawn before, mL").fill("8")
    page.get_by_text("LEFT OUT", exact=True).wait_for()
    page.locator("#answer").evaluate("answer => answer.scrollIntoView()")


def type_levels(page: Page) -> None:
    """The levels of an invented patient around a dose, the time of the next dose said, that of the infusion not."""
    page.get_by_label("Tests").fill("vancomycin-trough\nvancomycin-peak\nCBC\ngroup and screen\ngroup check")
    page.get_by_label("Age", exact=True).fill("61")
    page.get_by_label("Weight, kg").fill("70")
    page.get_by_label("the next dose of vancomycin", exact=True).fill("1400")
    page.get_by_text("2026-11-25, ").first.wait_for()


def show_levels(page: Page) -> None:
    """The same, moved to the draws."""
    type_levels(page)
    page.locator(".tray").nth(1).evaluate("tray => tray.scrollIntoView()")


def keep_one(page: Page) -> None:
    """The small child, a test kept that the rank would leave out."""
    type_small_child(page)
    page.get_by_role("button", name="instead").first.click()
    page.get_by_text("Kept by you").wait_for()
    page.locator("#answer").evaluate("answer => answer.scrollIntoView()")


def take_level(page: Page) -> None:
    """At the first tube of a trough whose next dose is not known."""
    page.get_by_label("Tests").fill("tacrolimus\ngroup and screen\ngroup check")
    page.get_by_label("Age", exact=True).fill("68")
    page.get_by_label("Weight, kg").fill("62")
    page.get_by_label("the next dose of tacrolimus", exact=True).fill("14:00")
    page.get_by_text("13:00 to").first.wait_for()
    page.get_by_role("button", name="Take this draw").click()
    for label, words in (("Name", "Invented, Ottoline"), ("Number", "X-000123"), ("Birth date", "1958-03-02")):
        page.get_by_label(label, exact=True).fill(words)


def take_level_tube(page: Page) -> None:
    """The same after the check, at its first tube."""
    take_level(page)
    page.get_by_label("Name, as the patient says it").fill("Ottoline Invented")
    page.get_by_label("Birth date as said").fill("1958-03-02")
    page.get_by_role("button", name="Check both").click()
    page.get_by_text("Tube 1 of").wait_for()
    page.get_by_text("Everything is sent").wait_for()


def fill_example(page: Page) -> None:
    """The invented panel of the Results page, weighed, and moved to its answer."""
    page.get_by_role("button", name="Fill in an invented example").click()
    page.get_by_role("region", name="Verdict").wait_for()
    page.locator("#answer").evaluate("answer => answer.scrollIntoView()")


def type_foreign_units(page: Page) -> None:
    """Invented results with units that are refused beside their lines."""
    page.get_by_label("Results: test, value, unit").fill("K 6.2 mmol/L\nNa 139 mEq/L\nCl 103\nCa 2,0 mmol/L")
    page.get_by_text("3 lines to correct").first.wait_for()


def find_glucose(page: Page) -> None:
    """Rows that go by what is typed."""
    page.get_by_label("Find").fill("gluc")
    page.get_by_text("25-hydroxyvitamin").wait_for(state="hidden")


def type_slips(page: Page) -> None:
    """A slip that can be let be and one that stops, each beside its field."""
    page.locator("[name='accepts.0.tubes']").fill("heparin-gell, heparin")
    page.locator("[name='accepts.1.minimum_ul']").fill("2.5")
    page.locator("#lint-accepts-1-minimum_ul .finding.error").wait_for()


def slip_in_panel(page: Page) -> None:
    """A member by its abbreviation, which the finding spells out."""
    page.get_by_label("Tests that it stands for").fill("sodium\npotassium\nchloride\nHCO3\nglucose")
    page.locator("#lint-tests .finding.error").wait_for()


def empty_shelf(page: Page) -> None:
    """What happens to a month of invented orders when no tube of a kind is left."""
    for one in page.locator("[name^='sizes.'][name$='.in_stock']").all()[:-1]:
        one.fill("0")
    page.get_by_role("button", name="What would it do?").click()
    page.locator(".what-if").wait_for()
    page.locator("#answer").evaluate("answer => answer.scrollIntoView()")


def take_in_hand(page: Page) -> None:
    """A draw of an invented patient in hand, who is to be identified."""
    page.get_by_label("Tests").fill("PT\nlactate\nCBC")
    page.get_by_label("Age", exact=True).fill("68")
    page.get_by_label("Weight, kg").fill("62")
    page.get_by_text("winged set", exact=True).click()
    page.get_by_role("region", name="The draw", exact=True).get_by_text("winged set").wait_for()
    page.get_by_role("button", name="Take this draw").click()
    page.get_by_label("Name", exact=True).fill("Invented, Ottoline")
    page.get_by_label("Number", exact=True).fill("X-000123")
    page.get_by_label("Birth date", exact=True).fill("1958-03-02")


def say_who(stated: str) -> Callable[[Page], None]:
    """Go on to what the patient stated."""

    def check(page: Page) -> None:
        take_in_hand(page)
        page.get_by_label("Name, as the patient says it").fill(stated)
        page.get_by_label("Birth date as said").fill("1958-03-02")
        page.get_by_role("button", name="Check both").click()

    return check


def fill_one(page: Page) -> None:
    """At the second tube, the discard before it filled."""
    say_who("Ottoline Invented")(page)
    page.get_by_role("button", name="Filled", exact=True).click()
    page.get_by_role("button", name="Next").click()
    page.get_by_text("Tube 2 of").wait_for()
    page.get_by_text("Everything is sent").wait_for()


def label_one(page: Page) -> None:
    """At its label."""
    fill_one(page)
    page.get_by_role("button", name="Filled", exact=True).click()
    page.get_by_role("button", name="Print the label").wait_for()
    page.get_by_role("button", name="Next").scroll_into_view_if_needed()


def name_collector(page: Page) -> None:
    """The account of whoever draws in the tutorial, not yet added."""
    form = page.locator("form.stack")
    form.get_by_label("Name").fill("nell")
    form.get_by_label("Role").select_option("collector")
    form.get_by_label("First password").fill(FIRST_WORDS)


def type_first_order(page: Page) -> None:
    """The order of the tutorial."""
    page.get_by_label("Tests").fill("PT\nK\nCBC")
    page.get_by_label("Age", exact=True).fill("34")
    page.get_by_label("Weight, kg").fill("62")
    page.locator(".tray .place").nth(2).wait_for()
    page.locator(".gauge").wait_for()


def identify_first(page: Page) -> None:
    """The tutorial's patient, read from the request and stated, not yet checked."""
    type_first_order(page)
    page.get_by_role("button", name="Take this draw").click()
    for label, words in (("Name", "Invented, Ottoline"), ("Number", "X-000123"), ("Birth date", "1992-01-05")):
        page.get_by_label(label, exact=True).fill(words)
    page.get_by_label("Name, as the patient says it").fill("Ottoline Invented")
    page.get_by_label("Birth date as said").fill("1992-01-05")


def take_first(page: Page) -> None:
    """At the first tube of the tutorial."""
    identify_first(page)
    page.get_by_role("button", name="Check both").click()
    page.get_by_text("Tube 1 of").wait_for()
    page.get_by_text("Everything is sent").wait_for()


def label_first(page: Page) -> None:
    """Every tube of it filled, the labels to print."""
    take_first(page)
    for number in (1, 2, 3):
        page.get_by_text(f"Tube {number} of").wait_for()
        page.get_by_role("button", name="Filled", exact=True).click()
        page.get_by_role("button", name="Next").click()
    page.get_by_role("button", name="Print all 3 labels").wait_for()


def section(name: str) -> Callable[[Page], None]:
    """Move to this section of the page."""
    return lambda page: page.locator(f"#{name}").evaluate("part => part.scrollIntoView()")


def fill_bench(page: Page) -> None:
    """The invented morning, put in where the record is still empty."""
    if page.get_by_role("button", name="Fill in an invented morning").count():
        page.get_by_role("button", name="Fill in an invented morning").click()
    page.locator("#row-INV05-1").wait_for()


def look_at_tube(page: Page) -> None:
    """A tube with a little hemolysis, looked at and not recorded."""
    fill_bench(page)
    page.get_by_label("Scan a tube").fill("INV09-1")
    page.keyboard.press("Enter")
    page.get_by_text("two agree", exact=True).click()
    page.get_by_text("looked at: good").click()
    page.get_by_label("Hemolysis").fill("0.55")
    page.get_by_text("with a comment").first.wait_for()
    page.evaluate("scrollTo(0, 0)")


def load_centrifuges(page: Page) -> None:
    """Every tube that waits, planned."""
    fill_bench(page)
    page.get_by_role("link", name="Spin", exact=True).click()
    for width in page.get_by_label("Outer diameter").all():
        width.fill("13")
    for full in page.get_by_text("All are filled to their mark").all():
        full.click()
    page.get_by_role("button", name="Plan the runs").click()
    page.get_by_label("Run 2").evaluate("run => run.scrollIntoView()")


def ask_addition(page: Page) -> None:
    """Two tests asked of a patient's specimens: one is there, one must be drawn."""
    fill_bench(page)
    page.get_by_role("link", name="Add or draw again").click()
    page.get_by_label("Any specimen of the patient").fill("INV06-2")
    page.get_by_label("Tests to add").fill("CRP\nlactate")
    page.get_by_role("button", name="Can they be added?").click()
    page.get_by_text("Draw again: lactate").wait_for()


def scan_two(page: Page) -> None:
    """Two scans with nothing recorded between, said to be one tube with two labels."""
    fill_bench(page)
    for id in ("INV01-1", "INV02-1"):
        page.get_by_label("Scan a tube").fill(id)
        page.keyboard.press("Enter")
        page.get_by_role("heading", name=id).wait_for()
    page.get_by_role("link", name="One tube").click()
    page.get_by_text("Two labels on one tube").wait_for()


def write_down(page: Page) -> None:
    """What can be done with a tube that was received, one of it open."""
    fill_bench(page)
    page.get_by_label("Scan a tube").fill("INV10-1")
    page.keyboard.press("Enter")
    page.get_by_text("Spun", exact=True).click()
    page.locator(".deeds").evaluate("deeds => deeds.scrollIntoView()")


class Scene(msgspec.Struct, frozen=True):
    """One picture of a page: its file's name, the role signed in, the address, and what is done there first.

    One that `is_single` is kept at the widest alone, in light.
    """

    name: str
    role: str | None
    path: str
    steps: Callable[[Page], None] = stay
    is_single: bool = False


# The bench comes first: its invented morning is offered while the record is empty.
SCENES = (
    Scene("bench", "processor", "/bench", fill_bench),
    Scene("bench-tube", "processor", "/bench", look_at_tube),
    Scene("bench-two-labels", "processor", "/bench", scan_two),
    Scene("bench-done", "processor", "/bench", write_down),
    Scene("bench-spin", "processor", "/bench", load_centrifuges),
    Scene("bench-add", "processor", "/bench", ask_addition),
    Scene("sign-in", None, "/sign-in"),
    Scene("draw", "collector", "/draw", type_order),
    Scene("draw-tubes", "collector", "/draw", show_tray),
    Scene("draw-child", "collector", "/draw", type_small_child),
    Scene("draw-times", "collector", "/draw", type_levels),
    Scene("draw-moments", "collector", "/draw", show_levels),
    Scene("draw-kept", "collector", "/draw", keep_one),
    Scene("take", "collector", "/draw", fill_one),
    Scene("take-moment", "collector", "/draw", take_level_tube),
    Scene("take-before", "collector", "/draw", take_level),
    Scene("take-who", "collector", "/draw", take_in_hand),
    Scene("take-stop", "collector", "/draw", say_who("Ottoline Inventet")),
    Scene("take-label", "collector", "/draw", label_one),
    Scene("first-account", "administrator", "/accounts", name_collector, is_single=True),
    Scene("first-draw", "collector", "/draw", type_first_order, is_single=True),
    Scene("first-who", "collector", "/draw", identify_first, is_single=True),
    Scene("first-tube", "collector", "/draw", take_first, is_single=True),
    Scene("first-labels", "collector", "/draw", label_first, is_single=True),
    Scene("results", "processor", "/results", fill_example),
    Scene("results-refused", "processor", "/results", type_foreign_units),
    Scene("site-tests", "supervisor", "/site", find_glucose),
    Scene("site-test", "supervisor", "/site/test?key=potassium", type_slips),
    Scene("site-panel", "supervisor", "/site/panel?key=electrolytes-panel", slip_in_panel),
    Scene("site-what-if", "supervisor", "/site/kind?key=heparin-gel", empty_shelf),
    Scene("site-stock", "supervisor", "/site/stock"),
    Scene("site-versions", "supervisor", "/site/versions"),
    Scene("site-tables", "supervisor", "/site/tables"),
    Scene("morning", "teacher", "/morning?min=270"),
    Scene("explain-order", "teacher", "/explain"),
    Scene("explain-carry-over", "teacher", "/explain", section("carry")),
    Scene("explain-fill", "teacher", "/explain", section("fill")),
    Scene("explain-citrate", "teacher", "/explain", section("citrate")),
    Scene("accounts", "administrator", "/accounts"),
    Scene("trail", "supervisor", "/trail"),
)
