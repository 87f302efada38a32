"""What forms are made of."""

from dashboard import forms


def test_a_choice_that_would_be_cut_off_is_wider():
    short = forms.choice_field("Cut", "cut", [("a", "flat-sawn"), ("b", "quarter-sawn")])
    long = forms.choice_field("Stored", "stored", [("", "nowhere"), ("a", "an unheated garage, as is usual")])
    assert short.className == "field"
    assert long.className == "field broad"
