"""What is said in the shop before and during a glue-up."""

_DIFFERS = "it is at {mc_pct}; wood will settle at {emc_pct} in the air of the last"
_TOO_FAR = "{off_pct:points} {off_pct:damper|drier}, and {most_pct:points} is the most"
_CLAMPED = "than {glue} allows for a quarter of an hour, with clamps on: {temperature_c}, {rh_pct}"

IN_SHOP = {
    # ---- whether to glue up
    "no-reading-yet": "no reading yet: the air is not known, so there is no all-clear",
    "no-reading": "no reading for {age_h}: the air is not known, so there is no all-clear",
    "cold-wood": (
        "the wood is at {wood_c} and {glue} wants {least_c} or more: "
        "warm the shop, and give the wood a day in it"
    ),
    "cold-wood warm-shop": (
        "the wood is at {wood_c} and {glue} wants {least_c} or more: bring the wood in a day before"
    ),
    "cold-air": "the air is at {temperature_c} and {glue} wants {least_c} or more: warm the shop",
    "too-warm-to-glue": "at {hottest_c} {glue} sets too soon: it wants {most_c} or less",
    "warm-enough": "wood at {wood_c}, air at {temperature_c}: {glue} wants {least_c} or more",
    "too-damp-to-set": "the air is at {rh_pct} and {glue} wants {most_rh_pct} or less",
    "air-differs": f"{_DIFFERS} five days: {_TOO_FAR}",
    "air-differs-today": f"{_DIFFERS} day: {_TOO_FAR}",
    "air-agrees": "it is at {mc_pct}; wood will settle at {emc_pct} in this air: within {most_pct:points}",
    "spell": "it would settle at {emc_now_pct} in this hour's air: a spell, unless it stays",
    "uneven-boards": (
        "boards run from {low_pct} to {high_pct}, and {most_pct:points} apart is the most; sort them"
    ),
    "too-wet-to-glue": "the wettest board is at {high_pct} and {glue} takes {most_mc_pct} at most",
    "stack-off-target": (
        "{off_pct:points} too {off_pct:wet|dry} for where it goes, and {most_pct:points} is the most"
    ),
    "stack-not-ready": "not ready for where it goes",
    "read-label": "{glue}: typical figures; enter the ones on your label",
    "no-stock": "no stack is recorded here: its moisture was not looked at",
    "earliest": "perhaps {when}",
    "not-before": "{when}",
    "holds": "likely to stay that way for {holds_days}",
    "holds-today": "it may not stay that way past today",
    "holds-long": "likely to stay that way for two months",
    # ---- clamps on
    "too-cold": f"{{place}} has been colder {_CLAMPED}",
    "too-warm": f"{{place}} has been warmer {_CLAMPED}",
    "too-damp": f"{{place}} has been damper {_CLAMPED}",
}
