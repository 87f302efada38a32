"""What is said of a piece and a home: the humidity to hold, delivery, moving, storage."""

_PAST = "{seen}, {margin_mm:hair} past"
_LATELY = "in air like that of the last {week_count:week} at {place}"
_TELL = "tell the client what will be seen"

AT_HOME = {
    # ---- to a client
    "client-working": "how it stands is being worked out. Look again in a few minutes",
    "client-clear": "it is all right where it stands",
    "client-clear-today": "nothing is wrong with it today",
    "client-near": "it is near what it was built for. Your maker knows",
    "client-past": "it is past what it was built for. Your maker knows, and will tell you what to do",
    "client-unknown": "nothing was heard from the room lately, so how it is isn't known",
    "client-coming-harms": "more likely than not, {when}: {seen}. Ask your maker what to do",
    "client-coming-shows": "more likely than not, {when}: {seen}. It harms nothing",
    "client-year-unknown": "how it will take the coming year isn't known yet",
    "client-tell": "tell your maker if you find one",
    # ---- before the van
    "delivery deliver": "deliver it",
    "delivery doubtful": "it may go now, but a year there may harm it",
    "delivery hold": "hold it",
    "delivery unknown": "no answer yet",
    "no-air-there": "no air is recorded at {place}",
    "old-air-there": "the last reading from {place} is {age_days} old",
    "few-days-there": "only {recorded_days} of record at {place}: too few to say what wood comes to there",
    "few-days": "only {recorded_days} of record there; four weeks would say more",
    "hang-a-sensor": "hang a sensor in the room four to eight weeks before, and ask again",
    "year-harms": f"at the {{end}} end of a year as expected at {{place}}, {_PAST}",
    "year-harms recorded": f"at the {{end}} end of a year like the last at {{place}}, {_PAST}",
    "tell-of-year": f"{_TELL} at the {{end}} end of the year: {_PAST}",
    "weeks-harm": f"{_LATELY}, {_PAST}, after about {{after_days}}",
    "weeks-harm soon": f"{_LATELY}, {_PAST}, within two weeks",
    "tell-of-weeks": f"{_TELL}, after about {{after_days}}: {_PAST}; it harms nothing",
    "tell-of-weeks soon": f"{_TELL}, within two weeks: {_PAST}; it harms nothing",
    "wood-there": (
        "wood like this piece's will settle at {there_pct} at {place} now, "
        "{is_inside:inside|outside} its range ({window})"
    ),
    "mc-window open": "no limit",
    "mc-window up-to": "up to {high_pct}",
    "mc-window from": "{low_pct} and up",
    "mc-window between": "{low_pct} to {high_pct}",
    "unsettled-air": (
        "the air there is not settled: it has moved by {moved_pct:points} in four weeks. "
        "A house just plastered, or heated for the first time, does that"
    ),
    "big-step": (
        "it is {step_pct:points} {step_pct:damper|drier} there than the piece is now: "
        "leave it wrapped some weeks"
    ),
    "wait-for-dry-air": "wait for the heating season or a dehumidifier to bring that air down",
    "wait-for-air": "wait until the air there is back inside, or ease the fit that gives out first",
    "unwrap": "wrap it for the journey, unwrap it in the room, and keep it off the heat for the first weeks",
    # ---- another home, and a garage
    "moved suits": "nothing passes a limit there",
    "moved shows": "something will show there, and harms nothing",
    "moved harms": "as built, it will be damaged there",
    "storage harmed": "stored there, it will be damaged",
    "storage safe": "it comes through, and is better not sent",
    "past-at-end": f"{_PAST} at the {{end}} end of the year",
    "width-change": (
        "{part} will be {dry_mm:fine} {dry_mm:wider|narrower} at its driest and {wet_mm:fine} "
        "{wet_mm:wider|narrower} at its dampest than it was before"
    ),
    "home-year": (
        "the wood will hold {low_pct} to {high_pct} over a year at {place} ({basis}); "
        "before, {before_low_pct} to {before_high_pct} ({before_basis})"
    ),
    "settles-once": "it moves once, and settles {when}",
    "ease-before-it-goes": "ease or pin the fits named above before it goes, or do not send it there",
    "stored": (
        "after {days} it comes back at {return_pct}, "
        "{change_pct:points} {change_pct:damper|drier} than it went in"
    ),
    "garage-assumed": "nothing is recorded there: this counts on {rh_pct} at {temperature_c}",
    "past-in-storage stored": f"{_PAST}, while it is stored",
    "past-in-storage returned": f"{_PAST}, in the weeks after its return",
    "storage-shock": "the room would then dry it by {drop_pct:points}: that is the shock to avoid",
    "store-how": (
        "avoid it where you can. If it must be: off the floor and off the outside wall, under a breathable "
        "cover, never in sealed plastic"
    ),
    "store-until-spring": "bring it back indoors in spring when the heating is off, not in January",
    # ---- a humidity to hold
    "hold-at-least": "hold the room at or above {advised_rh_pct}",
    "hold-at-most": "hold the room at or under {advised_rh_pct}",
    "needs-drier": "it would take {needed_rh_pct} or less, drier than a house should be held",
    "needs-damper": "it would take {needed_rh_pct} or more; no house should be held above {ceiling_rh_pct}",
    "windows-sweat": (
        "it would take {needed_rh_pct} or more; "
        "in the coldest weeks ahead the windows sweat above {ceiling_rh_pct}"
    ),
    "acts": "{acts}",
    "hold-near": "hold the room near {rh_pct}",
    "hold-at": "hold the room at {rh_pct}",
    "let-it-be-dry": "let the room be dry",
    "off-registers": "keep it away from registers and radiators",
    "lower-thermostat": "lower the thermostat a few degrees: that raises the humidity for nothing",
    "expect-the-gap": "expect the gap: it closes by itself when the heating stops",
    "ask-before-humidifying": "ask a heating contractor before humidifying the house",
    "wait-before-planing": "wait before you plane anything",
    "more-room": "give the fit that binds more room if it sticks all year",
    "ask-before-drying": "ask a contractor before drying the house further",
}
