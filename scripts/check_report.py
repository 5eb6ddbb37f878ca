"""Opens a report in a browser without a window and without a network, and uses it as a person would.

Usage: check_report.py BROWSER OUT REPORT.html

Fails on a request to anything but the file itself, on an error of the page, on a control without a
name, on letters with too little contrast, and when a chosen parcel, a sorted column, a filter or
the other units do not do what they should. Screenshots go to the folder OUT.
"""

import json
import pathlib
import sys

from playwright.sync_api import sync_playwright

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND",
]
# The page rebuilds the rain on cells of its own and without the shadow of buildings.
MOST_DU_OFF = 0.02
MOST_RATE_OFF = 0.02
# WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text of ordinary size.
LEAST_CONTRAST = 4.5

CONTRAST = """() => {
  const parse = (text) => text.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => {
    const part = (v) => { v /= 255; return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
    return 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  };
  const ground = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const [r, g, b, a = 1] = parse(getComputedStyle(at).backgroundColor);
      if (a > 0.99) return [r, g, b];
    }
    return [255, 255, 255];
  };
  const bad = [];
  document.querySelectorAll("h1,h2,h3,p,span,td,th,a,button,li,dt,dd,label,figcaption,summary").forEach((element) => {
    if (!element.textContent.trim() || !element.checkVisibility()) return;
    const [x, y] = [light(parse(getComputedStyle(element).color)), light(ground(element))];
    const ratio = (Math.max(x, y) + 0.05) / (Math.min(x, y) + 0.05);
    if (ratio < LEAST) bad.push(element.tagName + " " + ratio.toFixed(2) + " " + element.textContent.slice(0, 40));
  });
  return bad;
}""".replace("LEAST", str(LEAST_CONTRAST))

NAMELESS = """() => Array.from(document.querySelectorAll("a,button,input,select,[role=region],[role=img]"))
  .filter((e) => e.checkVisibility())
  .filter((e) => {
    const by = e.getAttribute("aria-labelledby");
    const name = e.getAttribute("aria-label") || (by && document.getElementById(by)?.textContent)
      || e.labels?.[0]?.textContent || e.title || e.textContent;
    return !name.trim();
  }).map((e) => e.outerHTML.slice(0, 120))"""


def expect(true, what):
    if not true:
        sys.exit(f"check-report: {what}")


def column(page, name):
    titles = page.locator("#table thead th button").all_text_contents()
    expect(name in titles, f"no column {name}: {titles}")
    return titles.index(name)


def sort_values(page, name):
    cells = page.locator(f"#table tbody tr > :nth-child({column(page, name) + 1})")
    return [float(v) for v in cells.evaluate_all("e => e.map(x => x.dataset.s).filter(x => x !== undefined)")]


def main():
    browser_path, out, report = sys.argv[1], pathlib.Path(sys.argv[2]), pathlib.Path(sys.argv[3]).resolve()
    out.mkdir(parents=True, exist_ok=True)
    requests, errors = [], []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=browser_path, args=FLAGS)
        context = browser.new_context(viewport={"width": 1280, "height": 900}, offline=True)
        page = context.new_page()
        page.on("request", lambda r: requests.append(r.url))
        page.on("pageerror", lambda e: errors.append(str(e)))
        page.on("console", lambda m: errors.append(m.text) if m.type == "error" else None)
        page.on("dialog", lambda d: (errors.append(f"dialog {d.message}"), d.dismiss()))
        page.goto(report.as_uri())
        page.wait_for_selector("#map.leaflet-container")
        page.screenshot(path=out / "top.png")
        page.screenshot(path=out / "whole.png", full_page=True)

        # A parcel by the table, with its rain.
        rows = page.locator("#table tbody tr").count()
        expect(rows > 0, "the table is empty")
        claimed = sort_values(page, "Claimed")
        expect(claimed == sorted(claimed, reverse=True), "the largest claims do not come first")
        page.locator("#table tbody tr th button").first.click()
        page.wait_for_timeout(300)
        lawns = page.locator("#detail tr[data-lawn]")
        expect(lawns.count() > 0, "a chosen parcel shows no lawn")
        compared = 0
        for at in range(min(rows, 12)):
            page.locator(f"#table tbody tr[data-at='{at}'] th button").click()
            for lawn in page.locator("#detail tr[data-lawn]").evaluate_all("e => e.map(x => ({...x.dataset}))"):
                if not lawn.get("du") or not lawn.get("planned"):
                    continue
                compared += 1
                off = abs(float(lawn["du"]) - float(lawn["planned"]))
                rate = abs(float(lawn["mean"]) / float(lawn["rate"]) - 1)
                if off > MOST_DU_OFF or rate > MOST_RATE_OFF:
                    print(f"check-report: note: parcel {at}, lawn {lawn['lawn']}: DU {lawn['du']} against "
                          f"{lawn['planned']}, rate {lawn['mean']} against {lawn['rate']} (shadow of buildings?)")
        print(f"check-report: rain of {compared} lawns rebuilt from their heads")
        page.locator("#table tbody tr[data-at='0'] th button").click()
        page.wait_for_timeout(300)
        page.locator("#map-part").screenshot(path=out / "parcel.png")
        page.locator("#detail button[data-wanted='0']").click()
        page.wait_for_timeout(200)
        page.locator("#map-part").screenshot(path=out / "parcel-found.png")

        # A parcel by a click on the map.
        page.reload()
        page.wait_for_selector("#map.leaflet-container")
        box = page.locator("#map").bounding_box()
        hit = False
        for i in range(1, 20):
            for j in range(1, 20):
                page.mouse.click(box["x"] + box["width"] * i / 20, box["y"] + box["height"] * j / 20)
                if page.locator("tr.chosen").count():
                    hit = True
                    break
            if hit:
                break
        expect(hit, "no click on the map chooses a parcel")

        # Sorting and filtering.
        button = page.locator("#table thead th button").nth(column(page, "Use as found"))
        button.click()
        down = sort_values(page, "Use as found")
        expect(down == sorted(down, reverse=True), "a click does not sort downwards")
        button.click()
        up = sort_values(page, "Use as found")
        expect(up == sorted(up), "a second click does not sort upwards")
        first = page.locator("#table tbody tr[data-at='0'] th").text_content()
        page.fill("#filter", first[:20])
        shown = page.locator("#table tbody tr:visible").count()
        expect(1 <= shown <= rows, "the filter shows nothing")
        page.fill("#filter", "no such parcel anywhere")
        expect(page.locator("#table tbody tr:visible").count() == 0, "the filter hides nothing")
        page.fill("#filter", "")

        # Units.
        cell = page.locator("#table tbody tr").first.locator("td[data-q=volume]").first
        si = float(cell.get_attribute("data-v"))
        page.click("button[data-set=us]")
        us = float(cell.text_content().replace("\u202f", "").replace("−", "-"))
        expect(abs(us - si / 3.785411784) <= 0.06, f"{si} m³ became {us} kgal")
        expect("kgal" in page.locator("#table thead").inner_text(), "the title keeps its SI unit")
        page.screenshot(path=out / "us.png")
        page.click("button[data-set=si]")

        # Names, contrast, order of the tab key.
        nameless = page.evaluate(NAMELESS)
        expect(not nameless, f"controls without a name: {nameless}")
        bad = page.evaluate(CONTRAST)
        expect(not bad, f"too little contrast: {bad[:8]}")
        page.reload()
        page.wait_for_selector("#map.leaflet-container")
        order = []
        for _ in range(14):
            page.keyboard.press("Tab")
            order.append(page.evaluate("document.activeElement.id || document.activeElement.textContent.slice(0, 24)"))
        expect(order[0].startswith("Skip"), f"the tab key starts at {order}")
        expect(order.index("SI units") < order.index("Map") < order.index("map"), f"order of the tab key: {order}")

        # Hostile text of the input stays text.
        expect(page.locator("#table script, #detail script, #table img, #detail img").count() == 0, "markup from data")
        expect(page.evaluate("window.hostile") is None, "a script of the input ran")

        # Without scripts the tables and charts are there.
        plain = browser.new_context(java_script_enabled=False, offline=True)
        reader = plain.new_page()
        reader.goto(report.as_uri())
        expect(reader.locator("#table tbody tr").count() == rows, "no table without scripts")
        expect(reader.locator("figure svg").count() > 0, "no charts without scripts")
        reader.screenshot(path=out / "plain.png")
        page.emulate_media(media="print")
        page.pdf(path=out / "print.pdf", format="A4", print_background=True)
        browser.close()
    away = [url for url in requests if not url.startswith(("file:", "data:", "blob:"))]
    expect(not away, f"the page asked a network: {away[:5]}")
    expect(not errors, f"errors of the page: {errors[:5]}")
    size = report.stat().st_size
    print(json.dumps({"rows": rows, "bytes": size, "lawns": compared}))


main()
