"""Every page by axe-core (vendored here, used in tests only): WCAG 2.2 A and AA on a phone by night, where no
page is wider than the phone; at a desk by day the rules that colours and sizes decide.

With PANELTIDE_SCREENS=FOLDER all rules look at every page in all four ways, and its picture is kept there.
"""

import base64
import os
import re
from pathlib import Path

from dashboard.shell import signing
from dashboard.shell.links import Links, of_client

AXE = (Path(__file__).parent / "axe" / "axe.min.js").read_text(encoding="utf-8")
DOOR = "role=door&width=18+in&length=26+in&thickness=3/4+in&species=black+walnut&mc=8.1&home=usual"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
ALL = {"type": "tag", "values": RULES}
OF_COLOUR_AND_SIZE = {
    "type": "rule",
    "values": ["color-contrast", "link-in-text-block", "scrollable-region-focusable", "target-size"],
}
SCREENS = os.environ.get("PANELTIDE_SCREENS", "")
WAYS = [("phone", "night"), ("desk", "day"), ("desk", "night"), ("phone", "day")]
SIZES = {"phone": (390, 844), "desk": (1440, 1000)}


def paths_of(shop) -> tuple[str, ...]:
    return (
        "/",
        "/coming",
        "/stock",
        "/pieces",
        "/pieces?find=walnut&show=near",
        f"/piece/{shop.piece}",
        f"/piece/{shop.piece}/edit",
        f"/piece/{shop.piece}/measure",
        f"/piece/{shop.piece}/move",
        f"/piece/{shop.piece}/client",
        f"/piece/{shop.piece}/gap",
        f"/piece/{shop.piece}/deliver?to=1&days=90",
        "/record",
        "/case",
        "/case/figures",
        "/case?pattern=chest+of+drawers&sides=slab&held.web+frame=glued",
        "/plan",
        f"/plan?{DOOR}&choose=framed",
        f"/rehearse?first=plan-framed&second=plan-slab&air={shop.place}&{DOOR}",
        "/foretold",
        f"/place/{shop.place}/corners",
        "/places",
        f"/place/{shop.place}",
        f"/place/{shop.place}/edit",
        "/sensors",
        "/sensor/1",
        "/sensor/1/edit",
        "/sensor/1/file",
        f"/place/{shop.place}/file",
        f"/stack/{shop.stack}",
        f"/stack/{shop.stack}/edit",
        f"/place/{shop.place}/clamps",
        "/places/new",
        "/clients",
        "/clients/new",
        "/client/1",
        "/client/1/edit",
        "/client/1/link",
        "/warnings",
        "/settings",
        "/help",
        "/help/sensors",
    )


def test_no_page_has_a_serious_finding(shop, phone, hands_on):
    hands = hands_on(phone)
    with shop.store.session() as session:
        links = Links(signing.signing_key(shop.store))
        given = [f"/for/{links.make(session, shows)}" for shows in (shop.piece, of_client(1))]
    found = {}
    for path in (*paths_of(shop), *given):
        turn(phone, "phone", "night")
        if path in given:
            phone.get(shop.address + path)
        else:
            hands.open(shop.address + path)
            if path in ("/record", f"/piece/{shop.piece}/edit"):  # their form comes after them
                hands.until(lambda: hands.all("#page fieldset"), f"{path} has no form")
        for screen, theme in WAYS if SCREENS else WAYS[:2]:
            turn(phone, screen, theme)
            if SCREENS:
                keep_picture(phone, f"{re.sub(r'[^a-z0-9]+', '-', path.lower())[:60]}-{screen}-{theme}")
            serious = findings(phone, ALL if SCREENS or screen == "phone" else OF_COLOUR_AND_SIZE)
            wide = phone.execute_script("return document.documentElement.scrollWidth")
            if screen == "phone" and wide > 390:
                serious.append(f"the page is {wide} px wide")
            if serious:
                found[path, screen, theme] = serious
    assert found == {}


def turn(driver, screen: str, theme: str) -> None:
    """Show the page that is open on another screen and by day or night, without fetching it again."""
    width, height = SIZES[screen]
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": screen == "phone"},
    )
    driver.execute_async_script(
        "document.documentElement.dataset.theme = arguments[0];"
        "requestAnimationFrame(() => requestAnimationFrame(arguments[1]));",
        theme,
    )


def keep_picture(driver, name: str) -> None:
    folder = Path(SCREENS)
    folder.mkdir(parents=True, exist_ok=True)
    shot = driver.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True, "format": "png"})
    (folder / f"{name}.png").write_bytes(base64.b64decode(shot["data"]))


def findings(driver, asked) -> list[str]:
    """What axe-core finds serious on the page as it stands, with everything that is folded opened."""
    driver.execute_script("for (const one of document.querySelectorAll('details')) one.open = true")
    driver.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
    driver.execute_cdp_cmd("Runtime.evaluate", {"expression": AXE})
    answer = driver.execute_async_script(
        "const done = arguments[arguments.length - 1];"
        "axe.run(document, {runOnly: arguments[0]}).then(done, (error) => done({error: String(error)}));",
        asked,
    )
    assert "error" not in answer, answer
    return [
        f"{violation['id']}: {node['target']} {node['failureSummary'][:200]}"
        for violation in answer["violations"]
        if violation["impact"] in ("serious", "critical") or violation["id"] in EMPTY
        for node in violation["nodes"][:3]
    ]


EMPTY = ("empty-table-header", "scrollable-region-focusable")
