"""Every size, every theme, keyboard alone, and what a checker of accessibility finds."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from visitor import DESKTOP, FOCUSED, PHONE, Visitor

ZOOMED = {"width": 640, "height": 360}  # 1280×720 at 200 %


def no_sideways_scroll(lab: Visitor) -> None:
    wide, room = lab.page.evaluate(
        "() => [document.scrollingElement.scrollWidth, document.scrollingElement.clientWidth]"
    )
    assert wide <= room


def inside(lab: Visitor, locator: Any) -> dict[str, float]:
    """An element's box, which must lie within the page's width and have a size."""
    box = locator.bounding_box()
    room = lab.page.evaluate("() => document.scrollingElement.clientWidth")
    assert box and box["width"] > 0 and box["height"] > 0
    assert box["x"] >= 0 and box["x"] + box["width"] <= room + 0.5, box
    return dict(box)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_phone_loses_nothing(visit: Callable[..., Visitor], scheme: str) -> None:
    lab = visit(viewport=PHONE, color_scheme=scheme, has_touch=True)
    no_sideways_scroll(lab)
    cone = inside(lab, lab.page.locator('[data-look="cone"] .layers'))
    assert cone["y"] + cone["height"] < 844 - 100, "the cone is on the first screen"
    assert cone["height"] >= 120
    for name in ("cone", "fan_down", "side"):
        inside(lab, lab.page.locator(f'[data-look="{name}"] .layers'))
        inside(lab, lab.page.locator(f'[data-look="{name}"] .trace canvas'))
    run = inside(lab, lab.page.locator(".run"))
    assert run["y"] + run["height"] <= 844 and run["height"] >= 44
    lab.page.locator(".run").tap()
    lab.page.wait_for_timeout(300)
    assert lab.js("state.run.mode") == "running"
    lab.page.locator(".run").tap()
    lab.unfold()
    for control in lab.controls():
        inside(lab, lab.control(control["id"]))
    no_sideways_scroll(lab)
    lab.set("item.depth", 3.1)
    lab.set("range_start", 14)
    assert lab.status == "error"
    inside(lab, lab.page.locator(".status"))
    no_sideways_scroll(lab)
    lab.set("range_start", 1)
    # a tap reads a cell: hover is never the only way
    lab.page.get_by_role("button", name="Show all", exact=True).tap()
    box = lab.page.locator('[data-look="cone"] .layers').bounding_box()
    lab.page.locator('[data-look="cone"] .layers').tap(position={"x": box["width"] / 2, "y": 40})
    lab.painted()
    assert "dB, step" in lab.page.locator(".readout").inner_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_small_desktop_shows_the_story_without_scrolling(
    visit: Callable[..., Visitor], scheme: str
) -> None:
    lab = visit(viewport=DESKTOP, color_scheme=scheme)
    no_sideways_scroll(lab)
    cone_plot = '[data-look="cone"] .layers'
    for part in ("h1", ".layers.lake", cone_plot, ".run", ".readout", ".caution"):
        box = inside(lab, lab.page.locator(part))
        assert box["y"] >= 0 and box["y"] + box["height"] <= 720, part
    # the lake, and under it the echograms, share their left edge and their width
    lake = inside(lab, lab.page.locator(".layers.lake"))
    cone = inside(lab, lab.page.locator(cone_plot))
    assert (lake["x"], lake["width"]) == (cone["x"], cone["width"])
    assert lake["y"] < cone["y"]


def test_at_200_percent_nothing_is_lost(visit: Callable[..., Visitor]) -> None:
    lab = visit(viewport=ZOOMED, device_scale_factor=2)
    no_sideways_scroll(lab)
    for name in ("cone", "fan_down", "side"):
        plot = lab.page.locator(f'[data-look="{name}"] .layers')
        plot.scroll_into_view_if_needed()
        box = inside(lab, plot)
        assert box["y"] >= -1 and box["y"] + box["height"] <= 361, f"{name} can be seen whole"
    pixels, shown = lab.js('((c) => [c.width, c.clientWidth])(page.plots.get("cone").base)')
    assert pixels == 2 * shown, "crisp on a fine screen"
    lab.unfold()
    for control in lab.controls():
        inside(lab, lab.control(control["id"]))
    run = lab.page.locator(".run")
    run.scroll_into_view_if_needed()
    run.click()
    assert lab.js("state.run.mode") == "running"


def test_resizing_the_window_redraws(lab: Visitor) -> None:
    wide = lab.picture("cone").shape[1]
    lab.page.set_viewport_size(PHONE)
    lab.page.wait_for_timeout(150)
    lab.painted()
    no_sideways_scroll(lab)
    assert lab.picture("cone").shape[1] < wide
    lab.page.set_viewport_size(DESKTOP)
    lab.page.wait_for_timeout(150)
    lab.painted()
    assert lab.picture("cone").shape[1] == wide


STOP = f"""() => {{ const at = ({FOCUSED})();
  if (!at || at === document.body) return null;
  const mark = (at.type === "radio" || at.type === "checkbox") && at.nextElementSibling || at;
  const style = getComputedStyle(mark);
  const box = at.getBoundingClientRect();
  const bar = at.getRootNode().querySelector(".foot"); // it floats over the end of the page
  const over = bar.getBoundingClientRect();
  const hidden = !bar.contains(at) && box.left < over.right && box.right > over.left
    && box.top >= over.top - 4 && box.bottom <= over.bottom;
  return {{ name: at.id || at.className || at.textContent, radio: at.name || "",
    width: at.matches(":focus-visible") ? parseFloat(style.outlineWidth) : 0,
    style: style.outlineStyle, size: [box.width, box.height],
    seen: box.bottom > 0 && box.top < innerHeight && !hidden }}; }}"""
REACHABLE = """[...root.querySelectorAll("button, select, input, summary, [tabindex='0']")]
  .filter((e) => e.getClientRects().length && !e.disabled && (e.type !== "radio" || e.checked))
  .length"""


@pytest.mark.parametrize("size", ["desktop", "phone"])
def test_the_keyboard_reaches_everything(visit: Callable[..., Visitor], size: str) -> None:
    lab = visit(viewport=DESKTOP if size == "desktop" else PHONE)
    lab.unfold()
    lab.page.evaluate("() => scrollTo(0, 0)")
    lab.page.mouse.click(5, 20)  # Tab goes on from here: the head of the page
    stops: list[dict[str, Any]] = []
    for _ in range(150):
        lab.page.keyboard.press("Tab")
        stop = lab.page.evaluate(STOP)
        if stop is None and stops:
            break
        if stop is not None:
            stops.append(stop)
    else:
        pytest.fail("Tab never leaves the page: a trap")
    assert len(stops) == lab.js(REACHABLE), [stop["name"] for stop in stops]
    names = [stop["name"] for stop in stops]
    for control in lab.controls():
        if control["id"] != "item.strength":  # idle with a fish in hand
            assert control["id"] in names, control["id"]
    for stop in stops:
        assert stop["style"] != "none" and stop["width"] >= 2, f"focus not seen on {stop['name']}"
        assert stop["seen"], f"{stop['name']} is focused out of sight"
        assert min(stop["size"]) >= 24, f"{stop['name']} is too small a target: {stop['size']}"
    lab.page.keyboard.press("Shift+Tab")
    assert lab.page.evaluate(STOP)["name"] == names[-1], "and back again"


def test_the_keyboard_works_everything(lab: Visitor) -> None:
    keyboard = lab.page.keyboard
    lab.page.locator(".run").focus()
    keyboard.press("Space")
    assert lab.js("state.run.mode") == "running"
    keyboard.press("Enter")
    assert lab.js("state.run.mode") == "paused"
    lab.page.locator('input[name="axis"][value="columns"]').focus()
    keyboard.press("ArrowRight")
    lab.painted()
    assert lab.js("state.axisKind") == "metres"
    lab.page.locator('input[name="look"][value="all"]').focus()
    keyboard.press("ArrowRight")
    lab.painted()
    assert lab.js("state.view") == "cone"
    lab.page.locator(".playhead").focus()
    before = lab.js("state.ping")
    keyboard.press("ArrowRight")
    assert lab.js("state.ping") == before + 1
    more = lab.page.locator(".more").first
    more.focus()
    keyboard.press("Enter")
    assert more.get_attribute("aria-expanded") == "true"
    lab.page.locator("summary", has_text="Strongest marks").focus()
    keyboard.press("Enter")
    lab.page.locator("details table").wait_for(state="visible")  # filled once all is at rest


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_the_accessibility_checker_finds_nothing(
    visit: Callable[..., Visitor], viewport: dict[str, int], scheme: str
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    lab = visit(viewport=viewport, color_scheme=scheme)

    def check(state: str) -> None:
        lab.page.wait_for_timeout(200)  # colours fade over 0.15 s
        found = Axe().run(lab.page)
        assert found.violations_count == 0, f"{state}: {found.generate_report()}"
        assert found.response["passes"], "the checker looked at something"

    check("as opened")
    lab.unfold()
    lab.page.locator("summary", has_text="Strongest marks").click()
    lab.set("range_start", 14)
    assert lab.status == "error"
    lab.page.locator(".run").click()
    lab.page.wait_for_timeout(250)
    lab.page.locator(".run").click()
    check("unfolded, refused, paused")
