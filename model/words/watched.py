"""What the watch says of fits, pieces, stacks, places and sensors, and of warnings of them."""

WATCHED = {
    # ---- said by somebody, or kept from before there were reasons
    "told": "{text}",
    "withdrawn": "withdrawn, late readings show otherwise: {was}",
    # ---- a limit of a fit
    "past": "{seen}, {margin_mm:over} past",
    "past-easing": "{seen}; back by {margin_mm:left}, not yet clearly",
    "no-play": "{margin_mm:left} is left until {seen}; it was built with none",
    "near": "{margin_mm:left} of {play_mm:left} is left until {seen}",
    "near-easing": "{margin_mm:left} of {play_mm:left} is left until {seen}, not yet clearly more",
    "clear": "{margin_mm:left} is left until {seen}",
    "next": "{seen} {when}",
    "coming": "{chance_pct:chance}, {when}: {seen}",
    "coming-some-day": "{chance_pct:chance}: {seen}",
    "if-it-stays": "if the room stays at {rh_pct}, {when}",
    "went-through-harms shrinking": (
        "{fit} was past its limit in dry air for {day_count:day} in {season}: "
        "look for a split or an opened joint"
    ),
    "went-through-harms swelling": (
        "{fit} was past its limit in damp air for {day_count:day} in {season}: look for a joint pushed apart"
    ),
    "went-through-shows shrinking": (
        "{fit} was past its limit in dry air for {day_count:day} in {season}, which harms nothing"
    ),
    "went-through-shows swelling": (
        "{fit} was past its limit in damp air for {day_count:day} in {season}, which harms nothing"
    ),
    "last-known": "last known: {was}",
    # ---- a piece
    "not-yet": "not evaluated yet",
    "working": "being worked out",
    "stalled": "calculations have stalled; the last are {age_h} old",
    "unreadable": "its record can't be read: {problem}",
    "no-fit": "no fit is recorded, so no limit is watched",
    # ---- the air something stands in
    "air-nowhere": "nobody said where it stands",
    "air-first-hour": "the first hour of readings from {place} isn't over yet",
    "air-never": "no sensor has reported from {place} yet",
    "air-silent": "no reading from {place} for {age_h}",
    # ---- a place
    "settles": "wood will settle at {emc_pct} in the air of the last 24 hours",
    "hardly-measured": "less than half of the last 24 hours is measured",
    "air": "{rh_pct} at {temperature_c}; wood will settle at {emc_pct}",
    "air-alone": "{rh_pct} at {temperature_c}",
    "air-unknown": "no air known yet",
    "steady": "{leads}",
    "moving": "{leads}, {emc_change_pct:points} {emc_change_pct:damper|drier} than three days before",
    "moved": (
        "at {place} wood will settle at {emc_pct}, "
        "{emc_change_pct:points} {emc_change_pct:damper|drier} than three days before"
    ),
    "iron-wet-now": "cast iron stands below the dew point, by an estimate: wipe it dry",
    "cold-iron": (
        "cast iron at {place} stood below the dew point of the air for an hour, by an estimate of its "
        "temperature: wipe it dry before it rusts, and warm it before damp air comes in"
    ),
    "water": (
        "{place} became wet within an hour: from {before_rh_pct} to {rh_pct}, "
        "dew point from {before_dew_c} to {dew_point_c}. Look for water"
    ),
    "place-silent": "no reading that can be trusted from {place} for more than {allowed_h}",
    "season": (
        "the heating season starts at {place}: {piece_count:piece} {piece_count:has|have} less than a point "
        "of moisture left before a dry limit: {pieces:4}"
    ),
    # ---- a sensor
    "silent": "no reading from {sensor} at {place} for more than {allowed_h}",
    "never": "nothing heard from it yet",
    "check": "{doubt_text}",
    "doubted": "its readings are left out: {doubt_text}",
    "late": "heard in time so far, but it has sent nothing for longer than usual",
    "heard": "heard in time",
    # ---- a stack
    "lumber": "{species}, {thickness_mm} thick",
    # ---- whether a stack is ready
    "unready": "not ready: {was}",
    "ready": "ready: {mc_pct}, even and steady, for {target}",
    "off-target": "{mc_pct}, {off_pct:points} too {off_pct:wet|dry} for {target}",
    "uneven-core": (
        "{mc_pct}, right for {target}, but the core is still {core_to_face_pct:points} from the face"
    ),
    "still-moving": "{mc_pct}, right for {target}, but still moving {slope_pct_a_week:points} a week",
    "not-a-day-yet": "{mc_pct}, right for {target}, but not for a whole day yet",
    "drift": (
        "drifting away: {off_pct:points} too {off_pct:wet|dry} for {target}, "
        "{further_pct:points} more than a week before"
    ),
    "target-home": "{place} ({target_pct} through its year)",
    "target-casework": "casework ({target_pct})",
    "target-air": "the air of {place} ({target_pct})",
    "cap": "{place} averages {year_pct} through its year: build at 8 to 9 % and leave room to swell",
    "never-gets-there": (
        "too {air_off_pct:damp|dry}: it will never get there in {kind:here}; "
        "move it to {air_off_pct:drier|damper} air"
    ),
    "never-stays-there": (
        "too {air_off_pct:damp|dry}: it will never stay there in {kind:here}; "
        "move it to {air_off_pct:drier|damper} air"
    ),
    "hardly-gets-there": (
        "too {air_off_pct:damp|dry}: it will probably not get there in {kind:here}; "
        "move it to {air_off_pct:drier|damper} air"
    ),
    "hardly-stays-there": (
        "too {air_off_pct:damp|dry}: it will probably not stay there in {kind:here}; "
        "move it to {air_off_pct:drier|damper} air"
    ),
    "not-within-a-year": "not within a year in {kind:here}",
    "ready-when": "ready {when} here",
    "ready-perhaps-soon": "perhaps within days: {decides}",
    "ready-not-before": "not before {from_days} from now: {decides}",
    "air-must-turn": "the air of {place} has to turn {spell_off_pct:drier|damper} first",
    "air-decides": "how the air of {place} turns decides it",
    "dead-piled": "it is dead-piled, so only its outside moves: sticker it",
    "no-place": "nobody said where it stands",
    "no-air-yet": "no air is known at {place} yet to compare it with",
    "ready-not-yet": "not worked out yet",
    # ---- the coming year of a piece
    "year-working": "the coming year is being worked out",
    "year-no-air": "the coming year isn't known: no air is known where it stands",
    "year-silent": "the coming year isn't known while nothing is heard from {place}",
    "year-nowhere": "the coming year isn't known: nobody said where it stands",
    # ---- notices
    "notice-again": "sent again: the first time may have come through as well",
    "notice-worse": "it has got worse",
    "notice-past": "it is past its limit now",
    "notice-foot": "this follows wood and the air it stands in. It is no smoke, fire, flood or frost alarm",
    "notice-test": "if you read this, notices reach you here",
}
