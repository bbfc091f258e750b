"""Published trials with known answers, through the functions that `seedlingcv compare` uses."""

import numpy as np
import pytest
from scipy import stats
from trial_season import flat

from seedlingcv.records.history import History
from seedlingcv.trials.compare import compare
from seedlingcv.trials.design import Question
from seedlingcv.trials.mixed import RESIDUAL, fit_mixed
from seedlingcv.trials.planning import power, units_needed
from seedlingcv.trials.units import lay_out

STEM = Question(figure="stem_length_mm")  # where a published figure is put: any measure would do


def trial(plots: dict[tuple[str, str], list[float]]) -> History:
    """(treatment, block) -> plants: each plot a flat, its block a batch; blocks named "" are none."""
    return History(tuple(flat(number, plants, light=treatment, batch=block or "all")
                         for number, ((treatment, block), plants) in enumerate(plots.items(), 1)))


# --- Dobson 1983, An introduction to statistical modelling, table 7.4: dried weight of plants, a control and two
# treatments. R's data set PlantGrowth (seen); F and p as R prints them (seen: 4.846, 0.0159); Tukey's intervals as R's
# TukeyHSD prints them (0.865 and 0.012 seen, the rest computed with scipy.stats.tukey_hsd).
PLANT_GROWTH = {
    "ctrl": [4.17, 5.58, 5.18, 6.11, 4.50, 4.61, 5.17, 4.53, 5.33, 5.14],
    "trt1": [4.81, 4.17, 4.41, 3.59, 5.87, 3.83, 6.03, 4.89, 4.32, 4.69],
    "trt2": [6.31, 5.12, 5.54, 5.50, 5.37, 5.29, 4.92, 6.15, 5.80, 5.26],
}


def plant_growth(**question: object):
    """Each plant in a flat of its own: the plant was the unit."""
    flats = [(group, value) for group, values in PLANT_GROWTH.items() for value in values]
    history = History(tuple(flat(i, [value], light=group) for i, (group, value) in enumerate(flats, 1)))
    return compare(history, Question(figure="stem_length_mm", **question))


def test_plant_growth_analysis_of_variance():
    found = plant_growth().overall
    assert round(found.f, 3) == 4.846 and (found.df, round(found.error_df)) == (2, 27)
    assert round(found.p, 4) == 0.0159
    assert round(found.mean_square, 4) == 1.8832 and round(found.error_mean_square, 4) == 0.3886


def test_plant_growth_tukey():
    found = {(d.other, d.one): d for d in plant_growth().differences}
    for pair, difference, low, high, p in ((("trt1", "ctrl"), -0.371, -1.0622, 0.3202, 0.3909),
                                           (("trt2", "ctrl"), 0.494, -0.1972, 1.1852, 0.1980),
                                           (("trt2", "trt1"), 0.865, 0.1738, 1.5562, 0.0120)):
        d = found[pair]
        assert [round(v, 4) for v in (-d.estimate, -d.high, -d.low, d.p)] == [difference, low, high, p]


def test_plant_growth_against_scipy():
    tukey = stats.tukey_hsd(*PLANT_GROWTH.values())
    interval = tukey.confidence_interval()
    names = list(PLANT_GROWTH)
    for d in plant_growth().differences:
        i, j = names.index(d.one), names.index(d.other)
        assert (d.estimate, d.p) == pytest.approx((tukey.statistic[i, j], tukey.pvalue[i, j]), abs=1e-6)
        assert (d.low, d.high) == pytest.approx((interval.low[i, j], interval.high[i, j]), abs=1e-6)
    dunnett = stats.dunnett(PLANT_GROWTH["trt1"], PLANT_GROWTH["trt2"], control=PLANT_GROWTH["ctrl"],
                            rng=np.random.default_rng(1))
    limits = dunnett.confidence_interval()
    for i, d in enumerate(plant_growth(against="ctrl").differences):
        assert d.p == pytest.approx(dunnett.pvalue[i], abs=2e-3)  # both integrate by random points
        assert (d.low, d.high) == pytest.approx((limits.low[i], limits.high[i]), abs=5e-3)


def test_two_groups_against_scipy():
    plants = [("a", v) for v in PLANT_GROWTH["trt1"]] + [("b", v) for v in PLANT_GROWTH["trt2"]]
    ours = compare(History(tuple(flat(i, [v], light=group) for i, (group, v) in enumerate(plants, 1))), STEM)
    theirs = stats.ttest_ind(PLANT_GROWTH["trt1"], PLANT_GROWTH["trt2"], equal_var=False)
    (d,) = ours.differences
    assert (d.estimate / d.se, d.p, d.df) == pytest.approx((theirs.statistic, theirs.pvalue, theirs.df))
    assert (d.low, d.high) == pytest.approx(tuple(theirs.confidence_interval()))


def test_chosen_pairs_by_holm_against_statsmodels():
    multitest = pytest.importorskip("statsmodels.stats.multitest")
    found = plant_growth(pairs=(("trt1", "ctrl"), ("trt2", "ctrl"))).differences
    single = [2 * stats.t.sf(abs(d.estimate / d.se), d.df) for d in found]
    assert [d.p for d in found] == pytest.approx(multitest.multipletests(single, method="holm")[1])


# --- Davies & Goldsmith 1972, Statistical methods in research and production: strength of a chemical paste, ten
# deliveries (batches) of three casks, two samples of each. Data: R package lme4, `Pastes` (seen). REML and ML results
# as statsmodels' own tests print them, taken from R (seen).
PASTES = {
    "A": "62.8 62.6 60.1 62.3 62.7 63.1", "B": "60.0 61.4 57.5 56.9 61.1 58.9", "C": "58.7 57.5 63.9 63.1 65.4 63.7",
    "D": "57.1 56.4 56.9 58.6 64.7 64.5", "E": "55.1 55.1 54.7 54.2 58.8 57.5", "F": "63.4 64.9 59.3 58.1 60.5 60.0",
    "G": "62.5 62.6 61.0 58.7 56.9 57.7", "H": "59.2 59.4 65.2 66.0 64.8 64.1", "I": "54.8 54.8 64.0 64.0 57.7 56.8",
    "J": "58.3 59.3 59.2 59.2 58.9 56.6",
}  # fmt: skip
PASTE_ROWS = [(batch, "abc"[i // 2], float(v)) for batch, row in PASTES.items() for i, v in enumerate(row.split())]


@pytest.mark.parametrize("reml,se,batch,residual,log_likelihood", [(True, 0.6769, 1.657, 0.678, -123.49),
                                                                  (False, 0.642, 1.199, 0.678, -123.997)])
def test_pastes_mixed_model(reml, se, batch, residual, log_likelihood):
    pytest.importorskip("statsmodels")
    fit = fit_mixed(np.array([v for *_, v in PASTE_ROWS]), np.ones((60, 1)),
                    {"batch": [b for b, _, _ in PASTE_ROWS], "cask": [b + c for b, c, _ in PASTE_ROWS]}, reml=reml)
    assert round(float(fit.coefficients[0]), 4) == 60.0533
    assert round(float(np.sqrt(fit.unadjusted[0, 0])), len(str(se)) - 2) == se
    assert round(fit.components["batch"], 3) == batch
    assert round(fit.components[RESIDUAL], 3) == residual
    assert fit.log_likelihood == pytest.approx(log_likelihood, abs=0.006)
    if reml:  # by expected mean squares: (17.5453 - 0.6780) / 2; and 9 degrees of freedom between ten batches
        assert fit.components["cask"] == pytest.approx(8.4337, abs=1e-4)
        assert fit.df(np.ones(1)) == pytest.approx(9)


def test_pastes_batches_over_casks_not_over_samples():
    """MS batches 27.4892, casks 17.5453 (computed from the data): F 1.567 on 9 and 20, p 0.193; over samples F 3.70."""
    casks: dict[tuple[str, str], list[float]] = {}
    for batch, cask, value in PASTE_ROWS:
        casks.setdefault((batch, cask), []).append(value)
    history = History(tuple(flat(i, v, light=batch) for i, ((batch, _), v) in enumerate(casks.items(), 1)))
    found = compare(history, STEM).overall
    assert round(found.f, 3) == 1.567 and (found.df, round(found.error_df)) == (9, 20) and round(found.p, 3) == 0.193
    assert round(2 * found.mean_square, 4) == 27.4892 and round(2 * found.error_mean_square, 4) == 17.5453
    samples = [[v for b, _, v in PASTE_ROWS if b == batch] for batch in PASTES]
    naive = stats.f_oneway(*samples)
    assert round(naive.statistic, 2) == 3.70 and naive.pvalue < 0.01


# --- Yates 1935, Complex experiments: oats, split plot; six blocks, three varieties as whole plots, four amounts of
# nitrogen as sub-plots (0, 0.2, 0.4, 0.6 cwt). Data: R packages nlme and MASS, `Oats`/`oats` (seen). Mean squares as
# Venables & Ripley, Modern applied statistics with S, print them (from memory), computed again from the data.
OATS = {
    "I": "111 130 157 174 117 114 161 141 105 140 118 156", "II": "61 91 97 100 70 108 126 149 96 124 121 144",
    "III": "68 64 112 86 60 102 89 96 89 129 132 124", "IV": "74 89 81 122 64 103 132 133 70 89 104 117",
    "V": "62 90 100 116 80 82 94 126 63 70 109 99", "VI": "53 74 118 113 89 82 86 104 97 99 119 121",
}  # fmt: skip
VARIETIES = ("Victory", "Golden Rain", "Marvellous")
OAT_ROWS = [(block, VARIETIES[i // 4], i % 4, float(v))
            for block, row in OATS.items() for i, v in enumerate(row.split())]


def test_oats_varieties_over_whole_plots():
    """A whole plot is a flat, its sub-plots are its plants, the block is the batch: F 1.485 on 2 and 10, p 0.2724 (over
    sub-plots p would be 0.0106)."""
    plots: dict[tuple[str, str], list[float]] = {}
    for block, variety, _, value in OAT_ROWS:
        plots.setdefault((variety, block), []).append(value)
    found = compare(trial(plots), STEM)
    assert found.blocks == ("batch",)
    assert round(found.overall.f, 3) == 1.485 and round(found.overall.p, 4) == 0.2724
    assert (found.overall.df, round(found.overall.error_df)) == (2, 10)
    assert round(4 * found.overall.mean_square, 3) == 893.181
    assert round(4 * found.overall.error_mean_square, 3) == 601.331


def test_oats_variances_and_nitrogen_by_the_mixed_model():
    pytest.importorskip("statsmodels")
    variety = np.eye(3)[[VARIETIES.index(v) for _, v, _, _ in OAT_ROWS]]
    nitrogen = np.eye(4)[[n for _, _, n, _ in OAT_ROWS]]
    v, n = (m[:, :-1] - m[:, -1:] for m in (variety, nitrogen))
    both = np.einsum("ri,rj->rij", v, n).reshape(72, -1)
    fit = fit_mixed(np.array([r[-1] for r in OAT_ROWS]), np.column_stack([np.ones(72), v, n, both]),
                    {"block": [r[0] for r in OAT_ROWS], "plot": [r[0] + r[1] for r in OAT_ROWS]})
    assert [round(fit.components[name], 2) for name in ("block", "plot", RESIDUAL)] == [214.48, 106.06, 177.08]
    for columns, f, error_df, p in ((slice(1, 3), 1.485, 10, 0.2724), (slice(3, 6), 37.686, 45, 2.46e-12),
                                    (slice(6, 12), 0.303, 45, 0.932)):
        b, c = fit.coefficients[columns], fit.covariance[columns, columns]
        df = len(b)
        found = float(b @ np.linalg.solve(c, b)) / df
        assert round(found, 3) == f
        assert fit.df(np.eye(12)[columns.start]) == pytest.approx(error_df, rel=1e-4)
        assert stats.f.sf(found, df, error_df) == pytest.approx(p, rel=2e-3)


# --- Kubota, Eguchi & Kroggel 2017, Sci. Hort. 226:366-371 (doi 10.1016/j.scienta.2017.09.006): tomato rootstock
# 'Beaufort', five lights x three blocks x four plants. The rows stand in the repository CEAOD/Data without a licence,
# so they are not repeated here: what follows is BUILT to have exactly the mean squares that those rows give (computed
# from them; put through `compare` by hand, the rows gave the same F and p).
KUBOTA = {  # figure: MS light (4), block (2), light x block (8), plants (45)
    "hypocotyl": (1.2027, 0.4572, 0.5109, 0.3506),
}


def built(mean_squares: tuple[float, float, float, float], treatments: int, blocks: int,
          plants: int) -> dict[tuple[str, str], list[float]]:
    """(treatment, block) -> plants, random but with exactly these mean squares."""
    rng = np.random.default_rng(1)
    y = rng.normal(size=(treatments, blocks, plants))
    mean = y.mean()
    t, b = y.mean((1, 2)) - mean, y.mean((0, 2)) - mean
    both = y.mean(2) - mean - t[:, None] - b
    within = y - y.mean(2, keepdims=True)
    parts = ((t[:, None, None], blocks * plants, treatments - 1), (b[None, :, None], treatments * plants, blocks - 1),
             (both[..., None], plants, (treatments - 1) * (blocks - 1)),
             (within, 1, treatments * blocks * (plants - 1)))
    total = np.full_like(y, 3.342)
    for wanted, (part, times, df) in zip(mean_squares, parts, strict=True):
        if df:
            total = total + part * np.sqrt(wanted * df / (times * np.sum(part**2)))
    return {(f"light {i}", f"block {j}"): list(total[i, j]) for i in range(treatments) for j in range(blocks)}


def test_tomato_lights_the_right_error_and_the_wrong_one():
    """F 2.354 on 4 and 8, p 0.141 over light x block; over plants F 3.184, p 0.020: a real trial that the naive test
    would have got wrong."""
    plots = built(KUBOTA["hypocotyl"], 5, 3, 4)
    found = compare(trial(plots), STEM)
    assert found.blocks == ("batch",) and not found.random
    assert round(found.overall.f, 3) == 2.354 and (found.overall.df, round(found.overall.error_df)) == (4, 8)
    assert round(found.overall.p, 3) == 0.141
    assert not any(d.real for d in found.differences)
    naive = stats.f_oneway(*[sum((v for (light, _), v in plots.items() if light == name), [])
                             for name in dict.fromkeys(light for light, _ in plots)])
    assert naive.statistic == pytest.approx(3.184, abs=0.001) and naive.pvalue == pytest.approx(0.020, abs=0.0005)


@pytest.mark.parametrize("treatment,block,error,f", [(82.666, 1.482, 1.1723, 70.51), (126.267, 1.840, 2.0049, 62.98)])
def test_basil_batches_in_blocks(treatment, block, error, f):
    """Hollick & Kubota 2022, Front. Plant Sci., doi 10.3389/fpls.2022.921440: main stem of basil, two batches of six
    treatments in six blocks, a mean for each plot. Rows as above: built to have their mean squares."""
    plots = built((treatment, block, error, 0.0), 6, 6, 1)
    found = compare(trial(plots), STEM).overall
    assert found.f == pytest.approx(f, abs=0.01) and (found.df, round(found.error_df)) == (5, 25)


# --- Reference libraries


def test_blocks_against_statsmodels():
    """Unequal numbers in blocks: difference, standard error and F as ordinary least squares gives them."""
    ols = pytest.importorskip("statsmodels.formula.api").ols
    anova_lm = pytest.importorskip("statsmodels.stats.anova").anova_lm
    pandas = pytest.importorskip("pandas")
    rng = np.random.default_rng(4)
    rows = [(light, f"b{b}", rng.normal() + b + "xyz".index(light)) for b in range(3) for light in "xyz"
            for _ in range(1 + (b + ord(light)) % 3)]
    history = History(tuple(flat(i, [v], light=light, batch=b) for i, (light, b, v) in enumerate(rows, 1)))
    found = compare(history, STEM)
    fit = ols("v ~ C(light) + C(b)", pandas.DataFrame(rows, columns=["light", "b", "v"])).fit()
    table = anova_lm(fit, typ=2)
    theirs = table.loc["C(light)"]
    assert (found.overall.f, found.overall.p) == pytest.approx((theirs["F"], theirs["PR(>F)"]))
    d = next(d for d in found.differences if {d.one, d.other} == {"x", "y"})
    assert (abs(d.estimate), d.se) == pytest.approx((abs(fit.params["C(light)[T.y]"]), fit.bse["C(light)[T.y]"]))


def test_whole_plots_against_statsmodels_repeated_measures():
    """Complete blocks are repeated measures of a block: AnovaRM."""
    anova_rm = pytest.importorskip("statsmodels.stats.anova").AnovaRM
    pandas = pytest.importorskip("pandas")
    plots: dict[tuple[str, str], list[float]] = {}
    for block, variety, _, value in OAT_ROWS:
        plots.setdefault((variety, block), []).append(value)
    table = pandas.DataFrame([(v, b, np.mean(y)) for (v, b), y in plots.items()], columns=["variety", "block", "y"])
    theirs = anova_rm(table, "y", "block", within=["variety"]).fit().anova_table
    ours = compare(trial(plots), STEM).overall
    assert (ours.f, ours.p) == pytest.approx((theirs.loc["variety", "F Value"], theirs.loc["variety", "Pr > F"]))


def test_mixed_variances_against_statsmodels():
    """Away from 0 statsmodels' own fit stands; only its z test is not used."""
    regression = pytest.importorskip("statsmodels.regression.mixed_linear_model")
    layout = lay_out_of_oats()
    values = np.array([unit.value for unit in layout.tested])
    x, batch = np.column_stack([[float(u.group == g) for u in layout.tested] for g in layout.groups]), \
        [unit.batch for unit in layout.tested]
    theirs = regression.MixedLM(values, x, groups=batch).fit()
    ours = fit_mixed(values, x, {"batch": batch})
    assert ours.coefficients == pytest.approx(theirs.fe_params, rel=1e-4)
    assert ours.components["batch"] == pytest.approx(float(theirs.cov_re[0, 0]), rel=2e-3)
    assert ours.log_likelihood == pytest.approx(theirs.llf, abs=1e-4)


def lay_out_of_oats():
    from seedlingcv.trials.design import choose_flats

    plots: dict[tuple[str, str], list[float]] = {}
    for block, variety, _, value in OAT_ROWS:
        if (block, variety) not in (("I", "Victory"), ("IV", "Golden Rain")):
            plots.setdefault((variety, block), []).append(value)
    layout = lay_out(choose_flats(trial(plots), STEM).values, "light")
    assert layout.random == ("batch",)
    return layout


@pytest.mark.parametrize("effect,df_units", [(0.5, 4), (1.5, 4), (3.0, 3), (1.0, 12)])
def test_power_against_statsmodels(effect, df_units):
    t_power = pytest.importorskip("statsmodels.stats.power").TTestIndPower().power
    se = np.sqrt(2 / df_units)
    assert power(effect, se, 2 * (df_units - 1)) == pytest.approx(t_power(effect, df_units, 0.05), abs=1e-4)


@pytest.mark.parametrize("effect", [0.6, 1.0, 1.7, 2.5])
def test_units_needed_against_statsmodels(effect):
    needed = pytest.importorskip("statsmodels.stats.power").tt_ind_solve_power(effect, power=0.8, alpha=0.05)
    assert units_needed(effect, 1.0) == int(np.ceil(needed))
