"""Trouble with the service itself reaches its owner: once when it lasts, and once when it is over."""

from deploy.caretaker import LASTS_S, Caretaker


def test_trouble_that_lasts_is_told_once_and_so_is_its_end() -> None:
    at_s, amiss, told = [0.0], ["the disk is nearly full: 12 MB free"], []
    look_after = Caretaker(lambda: amiss, lambda title, body: told.append((title, body)), lambda: at_s[0])
    for minute in range(1, 40):
        at_s[0] = 60.0 * minute
        look_after()
    assert [title for title, _ in told] == ["paneltide itself needs you"]
    assert told[0][1].startswith("The disk is nearly full: 12 MB free.\n")
    assert "paneltide status" in told[0][1]
    amiss.clear()
    at_s[0] += 60.0
    look_after()
    assert [title for title, _ in told][1:] == ["paneltide works again"]


def test_a_restart_of_a_minute_or_two_wakes_nobody() -> None:
    at_s, amiss, told = [0.0], ["watch has not been heard of"], []
    look_after = Caretaker(lambda: amiss, lambda title, _: told.append(title), lambda: at_s[0])
    for minute in range(1, int(LASTS_S / 60)):
        at_s[0] = 60.0 * minute
        look_after()
    amiss.clear()
    at_s[0] += 3_600.0
    look_after()
    assert told == []
