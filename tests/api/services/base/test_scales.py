"""What a tolerance takes its percentages of."""

from decimal import Decimal as D

from api.services.base.scales import scales_of


def test_a_reading_is_the_value_around_a_nominal_unless_it_is_given():
    assert scales_of(D("10.1"), D(10), "kN")["reading"] == D("10.1")
    assert scales_of(D("10.1"), D(10), "kN", D("10.2"))["reading"] == D("10.2")


def test_an_error_of_indication_is_no_reading():
    for nominal in (None, D(0)):
        assert scales_of(D("0.1"), nominal, "kN")["reading"] is None


def test_an_error_in_percent_is_a_share_of_a_hundred():
    # 0.2 % of the applied force above it: indicated are 100.2 % of it
    assert scales_of(D("0.2"), None, "%", None, D(5), D(1)) == {
        "nominal": D(100),
        "reading": D("100.2"),
        "full_scale": D(5),
        "resolution": D(1),
    }
