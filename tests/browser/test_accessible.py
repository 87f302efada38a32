"""Every page by axe-core (vendored here, used in tests only): WCAG 2.2 A and AA, day and night."""

from pathlib import Path

import pytest

AXE = (Path(__file__).parent / "axe" / "axe.min.js").read_text(encoding="utf-8")
DOOR = "role=door&width=18+in&length=26+in&thickness=3/4+in&species=black+walnut&mc=8.1&home=usual"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


# At night only colours differ, so only contrast is asked about again.
@pytest.mark.parametrize(
    ("theme", "asked"),
    [("day", {"type": "tag", "values": RULES}), ("night", {"type": "rule", "values": ["color-contrast"]})],
)
def test_no_page_has_a_serious_finding(shop, browser, hands, theme, asked):
    paths = (
        "/",
        "/stock",
        "/pieces",
        f"/piece/{shop.piece}",
        f"/piece/{shop.piece}/edit",
        f"/piece/{shop.piece}/measure",
        f"/piece/{shop.piece}/client",
        f"/piece/{shop.piece}/gap",
        f"/piece/{shop.piece}/deliver?to=1&days=90",
        "/record",
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
        f"/stack/{shop.stack}/edit",
        f"/place/{shop.place}/clamps",
        "/places/new",
        "/warnings",
        "/settings",
    )
    browser.get(shop.address)
    browser.execute_script("localStorage.setItem('paneltide-theme', arguments[0])", theme)
    found = {}
    for path in paths:
        hands.open(shop.address + path)
        browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
        browser.execute_cdp_cmd("Runtime.evaluate", {"expression": AXE})
        answer = browser.execute_async_script(
            "const done = arguments[arguments.length - 1];"
            "axe.run(document, {runOnly: arguments[0]}).then(done, (error) => done({error: String(error)}));",
            asked,
        )
        assert "error" not in answer, answer
        serious = [
            f"{violation['id']}: {node['target']} {node['failureSummary'][:200]}"
            for violation in answer["violations"]
            if violation["impact"] in ("serious", "critical")
            for node in violation["nodes"][:3]
        ]
        if serious:
            found[path] = serious
    assert found == {}
