"""The wire edge stays a category with its evidence."""

import pytest

from edgekit.method.wire_edge import StrokeSense, WireEdge, wire_edge


@pytest.mark.parametrize("stroke", [StrokeSense.AWAY, StrokeSense.TOWARDS])
def test_strokes_that_sources_speak_of_are_contested_with_both_sides(stroke):
    finding = wire_edge(stroke)
    assert finding.category is WireEdge.CONTESTED
    assert {claim.supports for claim in finding.claims} == {True, False}
    assert any("Antonini 1977" in claim.source for claim in finding.claims)
    assert any("teaching" in claim.source for claim in finding.claims)


@pytest.mark.parametrize("stroke", [StrokeSense.TO_AND_FRO, StrokeSense.ALONG])
def test_strokes_that_no_source_speaks_of_are_unknown(stroke):
    assert wire_edge(stroke).category is WireEdge.UNKNOWN
    assert "no source" in str(wire_edge(stroke))


def test_what_was_seen_settles_this_blade_and_no_more():
    assert wire_edge(StrokeSense.AWAY, observed=True).category is WireEdge.SEEN
    seen_none = wire_edge(StrokeSense.AWAY, observed=False)
    assert seen_none.category is WireEdge.NONE_SEEN
    assert seen_none.claims == wire_edge(StrokeSense.AWAY).claims


def test_a_wire_edge_is_never_a_number():
    finding = wire_edge(StrokeSense.AWAY)
    for thing in (finding, finding.category, *finding.claims):
        with pytest.raises(TypeError):
            float(thing)  # type: ignore[arg-type]
    assert not any(isinstance(item.value, int | float) for item in WireEdge)
