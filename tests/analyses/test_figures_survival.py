"""Figures of time to an event: what stands on them, and that nothing stands on anything else."""

from __future__ import annotations

import io
from itertools import combinations

import numpy as np
import pytest
from reference_runs import recorded

from analyses.figures.figures_survival import incidence_figure, spread, survival_figure
from analyses.statistics.timetoevent.incidence_curves import cumulative_incidence
from analyses.statistics.timetoevent.survival_curves import survival

LUNG_CANCER = recorded("timetoevent")["plain"]["veteran"]["data"]
MGUS = recorded("competing_risks")["sets"]["mgus2"]["data"]


def _four_groups():
    curves = survival(LUNG_CANCER["time"], LUNG_CANCER["status"], group=LUNG_CANCER["group"])
    return curves, survival_figure(curves, 6.3, time_label="Days from randomization",
                                   value_label="Alive")


def _texts(figure) -> list:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.text import Text

    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]


def test_the_numbers_at_risk_are_those_of_the_table() -> None:
    curves, figure = _four_groups()
    upper, below = figure.axes
    marks = upper.get_xticks().tolist()
    table = curves.at_risk_table(marks)
    expected = [f"{a} ({e})" for a, e in zip(table["at_risk"], table["events"], strict=True)]
    assert [t.get_text() for t in below.texts] == expected
    assert expected[0] == "27 (0)"


def test_axes_say_what_they_show() -> None:
    upper, below = _four_groups()[1].axes
    assert upper.get_ylabel() == "Alive, %"
    assert upper.get_xlabel() == "Days from randomization"
    assert upper.get_ylim() == (0, 100)
    assert "95 % interval" in below.get_title(loc="left")


def test_no_two_texts_overlap() -> None:
    from matplotlib.text import Text

    figure = _four_groups()[1]
    texts = _texts(figure)
    renderer = figure.canvas.get_renderer()
    # The text's own box: an annotation's would hold its leader line as well.
    boxes = [(t.get_text(), Text.get_window_extent(t, renderer)) for t in texts]
    assert len(boxes) > 20
    for (first, a), (second, b) in combinations(boxes, 2):
        apart = a.x1 <= b.x0 + 1 or b.x1 <= a.x0 + 1 or a.y1 <= b.y0 + 1 or b.y1 <= a.y0 + 1
        assert apart, f"{first!r} meets {second!r}"


def test_every_group_is_named_beside_its_curve_and_below() -> None:
    upper, below = _four_groups()[1].axes
    names = {"adeno", "large", "smallcell", "squamous"}
    assert {t.get_text() for t in upper.texts} == names
    assert {t.get_text() for t in below.get_yticklabels()} == names


def test_curves_differ_without_colour() -> None:
    """Each curve has a dash of its own."""
    upper = _four_groups()[1].axes[0]
    thick = [line for line in upper.lines if line.get_linewidth() > 1]
    assert len({str(line._unscaled_dash_pattern) for line in thick}) == 4


def test_the_curve_is_that_of_the_table() -> None:
    curves = cumulative_incidence(MGUS["time"], MGUS["event"], group=MGUS["group"])
    figure = incidence_figure(curves, 6.3, time_label="Months", value_label="Progressed")
    thick = [line for line in figure.axes[0].lines if line.get_linewidth() > 1]
    table = curves.cause_table(1)
    women = table[table["group"] == "F"]
    drawn = dict(zip(thick[0].get_xdata(), thick[0].get_ydata(), strict=True))
    for time, value in zip(women["time"][:150], women["estimate"][:150], strict=True):
        assert drawn[time] == pytest.approx(100 * value)


def test_every_cause_is_drawn_where_there_are_no_groups() -> None:
    curves = cumulative_incidence(MGUS["time"], MGUS["event"])
    figure = incidence_figure(curves, 6.3, time_label="Months", value_label="Patients",
                              cause_labels={1: "progressed", 2: "died first"})
    assert [t.get_text() for t in figure.axes[0].texts] == ["progressed", "died first"]


def test_nothing_that_happened_can_be_drawn() -> None:
    figure = survival_figure(survival([1, 2, 3], [0, 0, 0]), 5, time_label="Years",
                             value_label="Free of recurrence")
    assert _texts(figure)
    figure = incidence_figure(cumulative_incidence([0, 0], [0, 0]), 5, time_label="Years",
                              value_label="Recurred")
    assert _texts(figure)


def test_the_same_curves_give_the_same_file() -> None:
    files = []
    for _ in range(2):
        held = io.BytesIO()
        import matplotlib as mpl

        with mpl.rc_context({"svg.hashsalt": "nidusbook"}):
            _four_groups()[1].savefig(held, format="svg", metadata={"Date": None})
        files.append(held.getvalue())
    assert files[0] == files[1]


def test_too_many_groups_are_refused() -> None:
    curves = survival(range(1, 13), [1] * 12, group=list("abcdef") * 2)
    with pytest.raises(ValueError, match="6 curves cannot be told apart"):
        survival_figure(curves, 6, time_label="t", value_label="v")


@pytest.mark.parametrize("heights", [[0, 0, 0, 0], [1, 1, 1], [0.5, 0.51, 0.2], [0.0, 1.0], [0.3]])
def test_labels_are_pushed_apart_and_stay_inside(heights: list[float]) -> None:
    placed = spread(np.array(heights, dtype=float), 0.06)
    assert (np.diff(np.sort(placed)) >= 0.06 - 1e-6).all()
    assert placed.min() >= -1e-9
    assert placed.max() <= 1 + 1e-9
    assert (np.argsort(placed, kind="stable") == np.argsort(heights, kind="stable")).all()


def test_no_curve_is_drawn_beyond_the_time_that_may_be_read() -> None:
    curves, figure = _four_groups()
    curved = [line for line in figure.axes[0].lines if line.get_marker() != "|"]
    drawn = {line.get_color(): line for line in curved if line.get_linewidth() > 1}
    # What is thin leads a label to the end of its curve, level with it.
    assert all(len(set(line.get_ydata())) == 1 for line in curved if line.get_linewidth() <= 1)
    for group, line in zip(curves.groups, drawn.values(), strict=True):
        own = curves.table[[g == group for g in curves.table["group"]]]
        at_the_end = own.loc[own["time"] == line.get_xdata()[-1], "at_risk"].item()
        first_lost = own.loc[own["censored"] > 0, "time"].min()
        assert (at_the_end >= 0.1 * own["at_risk"].max()
                or line.get_xdata()[-1] <= first_lost or np.isnan(first_lost))
        # A number may be read off up to there, and no further.
        assert curves.at(line.get_xdata()[-1], group).value is not None
    assert figure.axes[0].get_xlim()[1] == max(line.get_xdata()[-1] for line in drawn.values())
    assert "Drawn while a tenth or more are followed" in " ".join(
        figure.axes[1].get_title(loc="left").split())


def test_nothing_is_cut_where_nobody_was_lost() -> None:
    figure = survival_figure(survival(range(1, 31), [1] * 30), 6, time_label="t", value_label="v")
    assert figure.axes[0].get_xlim()[1] == 30
    assert "Drawn while" not in figure.axes[1].get_title(loc="left")
