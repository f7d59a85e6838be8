"""The soak strip's forecast, in a real browser."""

from playwright.sync_api import Page, expect

DRAW = """async (forecast) => {
  const { drawStrip } = await import("/assets/strip.js");
  const { svg } = await import("/assets/dom.js");
  const plan = { name: "p", total_s: 600, phases: [{ drive: "carrier", start_s: 0, end_s: 600 }] };
  const bay = { bay: "bay-1", plan, elapsed_s: 200, strip: [[0, 22], [200, 40]], tags: [], forecast,
                figures: { heatsink_limit_c: 75 } };
  const picture = svg("svg", { id: "probe" });
  document.body.append(picture);
  drawStrip(picture, bay, 628, 100);  // 28 of them for the scale
  const cone = picture.querySelector(".cone"), pen = picture.querySelector(".pen");
  return cone && { from: cone.getAttribute("d").match(/M([\\d.]+)/)[1],
                   limit: picture.querySelectorAll(".limit-line").length,
                   under: Boolean(cone.compareDocumentPosition(pen) & Node.DOCUMENT_POSITION_FOLLOWING) };
}"""


def test_the_forecast_is_a_cone_ahead_of_the_pen_and_what_has_passed_is_not_drawn(tab: Page, address: str) -> None:
    """It begins where the pen stands, a third of the way, and lies under the ink."""
    tab.goto(address)
    expect(tab.locator(".shelf").first).to_be_visible()
    cone = tab.evaluate(DRAW, [[100, 30, 31, 32], [200, 40, 40, 40], [400, 50, 55, 60], [600, 52, 60, 68]])
    assert float(cone["from"]) == 200.0
    assert cone["limit"] == 1
    assert cone["under"]


def test_without_a_forecast_there_is_no_cone(tab: Page, address: str) -> None:
    """Nothing is foretold that nobody computed."""
    tab.goto(address)
    expect(tab.locator(".shelf").first).to_be_visible()
    assert tab.evaluate(DRAW, []) is None
    assert tab.evaluate(DRAW, None) is None


def test_a_strip_is_drawn_anew_only_when_something_moved_by_a_pixel(tab: Page, address: str) -> None:
    """A frame twice a second for two hours moves the pen once in many."""
    tab.goto(address)
    expect(tab.locator(".shelf").first).to_be_visible()
    drawn = tab.evaluate(
        """async () => {
          const { makeStrip, setStrip } = await import("/assets/strip.js");
          const strip = makeStrip();
          strip.box.paper = [600, 100];
          const plan = { name: "p", total_s: 7200, phases: [] };
          let drawn = 0, last = null;
          for (let s = 0; s < 120; s += 0.5) {
            const bay = { bay: "b", plan, elapsed_s: s, strip: [[s, 22 + s / 1000]], tags: [],
                          figures: { heatsink_limit_c: 75 } };
            setStrip(strip, bay);
            if (strip.picture.firstChild !== last) drawn += 1;
            last = strip.picture.firstChild;
          }
          return drawn;
        }"""
    )
    assert 8 <= drawn <= 14
