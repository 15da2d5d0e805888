"""The worked study: an invented trial, from recordings to the effect of an arm.

    python docs/study/study.py DEMO OUT

DEMO is what `boutwise demo DEMO --athletes 40 --arms 2 --seed N` wrote. OUT gets effect.json, the tables and figures of the
paper, the audit they come from, and report.md, which says what was found and what a simpler analysis gets wrong. The plan of
the analysis is docs/study/README.md. Needs the packages of docs/study/requirements.txt.
"""

import json
import pathlib
import sys

import boutwise
import numpy as np
import pandas as pd
import scipy.stats
import statsmodels.formula.api as smf

MEASURE = "longest_run_last_week"  # As truth/effect.csv names it.
OUTCOME = "longest_run_s"  # The column of sessions.csv.
LEVEL = 0.95
RESAMPLES = 2000  # Of athletes, for the bootstrap; own choice.
BOOTSTRAP_SEED = 1
SHORT_SHARE = 0.8  # Share of the planned running below which a week fell short; own choice.
HERE = pathlib.Path(__file__).resolve().parent
# The two settings that the sensitivity analyses change: file beside this one, and what it means.
SETTINGS = {
    "longer walks": ("longer-walks.toml", "only walks of 20 s or more end a run (12 s otherwise)"),
    "surer sessions": ("surer-sessions.toml", "only sessions told apart with a confidence of 0.9 or more count, with cadence of 0.8 (0.76 and 0.55 otherwise)"),
}


class Trial:
    """A demo with its arms, audited under one file of settings."""

    def __init__(self, demo, settings=None):
        self.demo = demo
        squad = pd.read_csv(demo / "squad.csv", dtype={"athlete": str, "arm": str})
        if "arm" not in squad:
            sys.exit(f"{demo / 'squad.csv'}: no column arm; expected a trial: boutwise demo DIR --athletes 40 --arms 2 --seed N")
        self.squad = squad
        self.arms = sorted(squad["arm"].unique())
        if len(self.arms) != 2:
            sys.exit(f"{demo / 'squad.csv'}: {len(self.arms)} arms, {', '.join(self.arms)}; expected two: --arms 2")
        self.result = boutwise.audit_folder(
            demo / "recordings", squad=demo / "squad.csv", journal=demo / "journal.csv", settings=settings
        )
        arm = squad.set_index("athlete")["arm"]
        # Every planned session of everybody who began, done or not: what was due, by intention to treat.
        self.planned = pd.DataFrame(self.result.planned.to_dict())
        self.planned["due_date"] = pd.to_datetime(self.planned["due_date"])
        first = self.planned["due_date"].min()
        self.planned["week"] = (self.planned["due_date"] - first).dt.days // 7
        self.planned["arm"] = self.planned["athlete"].map(arm)
        self.last_week = int(self.planned["week"].max())
        # Every recorded session that counts, in the week of its day, whether it was laid on a planned session or not: which are
        # depends on how far they went, so to leave the others out would choose by the outcome.
        sessions = pd.DataFrame(self.result.sessions.to_dict())
        sessions["week"] = (pd.to_datetime(sessions["start_local"]).dt.normalize() - first).dt.days // 7
        sessions["arm"] = sessions["athlete"].map(arm)
        sessions["is_b"] = (sessions["arm"] == self.arms[1]).astype(float)
        sessions[OUTCOME] = sessions[OUTCOME].astype(float)
        self.sessions = sessions[sessions["counted"] & sessions["week"].between(0, self.last_week)].reset_index(drop=True)

    def seen(self):
        """The recorded sessions whose longest run is known, in which running could be told from walking."""
        return self.sessions.dropna(subset=[OUTCOME])

    def laid(self):
        """The same in the week of the planned session that each was laid on, those on none left out: for comparison alone."""
        places = self.planned[["file", "session", "week"]].dropna(subset=["file"])
        return self.seen().drop(columns="week").merge(places, on=["file", "session"])


def mixed_model(trial, seen):
    """The effect in the last week: a straight line for each athlete about the line of the arm (REML).

    Sound where who drops out depends on the arm and on what was seen before, not on what was not seen (missing at random).
    The interval is Student's with as many degrees of freedom as athletes less two: arms are compared between athletes.
    """
    model = smf.mixedlm(f"{OUTCOME} ~ week * is_b", seen, groups="athlete", re_formula="~week")
    fit = model.fit(reml=True, method=["lbfgs", "powell"])
    contrast = np.array([0.0, 0.0, 1.0, float(trial.last_week)])
    estimate = float(contrast @ fit.fe_params)
    covariance = fit.cov_params().iloc[:4, :4].to_numpy()
    error = float(np.sqrt(contrast @ covariance @ contrast))
    half = scipy.stats.t.ppf(0.5 + LEVEL / 2, seen["athlete"].nunique() - 2) * error
    return fit, {"estimate": estimate, "low": estimate - half, "high": estimate + half}


def bootstrap(trial, fit):
    """The same contrast with athletes drawn anew within their arms; spreads within and between athletes as fitted."""
    spread, noise = fit.cov_re.to_numpy(), fit.scale
    parts = {arm: [] for arm in (0.0, 1.0)}
    for _, own in trial.seen().groupby("athlete"):
        week, is_b = own["week"].to_numpy(float), own["is_b"].to_numpy()
        fixed = np.column_stack([np.ones_like(week), week, is_b, week * is_b])
        weight = np.linalg.inv(fixed[:, :2] @ spread @ fixed[:, :2].T + noise * np.eye(len(week)))
        parts[is_b[0]].append((fixed.T @ weight @ fixed, fixed.T @ weight @ own[OUTCOME].to_numpy()))
    random = np.random.default_rng(BOOTSTRAP_SEED)
    drawn = []
    for _ in range(RESAMPLES):
        left, right = np.zeros((4, 4)), np.zeros(4)
        for own in parts.values():
            for index in random.integers(len(own), size=len(own)):
                left, right = left + own[index][0], right + own[index][1]
        line = np.linalg.solve(left, right)
        drawn.append(line[2] + trial.last_week * line[3])
    low, high = np.quantile(drawn, [0.5 - LEVEL / 2, 0.5 + LEVEL / 2])
    return {"estimate": float(np.mean(drawn)), "low": float(low), "high": float(high)}


def naive(trial):
    """What sessions.csv alone suggests: all recorded runs of the last week, arm against arm, as if each were a person's."""
    last = trial.seen().query("week == @trial.last_week")
    a, b = (last.loc[last["is_b"] == arm, OUTCOME] for arm in (0.0, 1.0))
    if min(len(a), len(b)) < 2:
        return None
    interval = scipy.stats.ttest_ind(b, a, equal_var=False).confidence_interval(LEVEL)
    return {"estimate": float(b.mean() - a.mean()), "low": float(interval.low), "high": float(interval.high)}


def by_week(trial):
    """What was due and what was done, by arm and week: of all that was due, and of the sessions laid on the plan alone."""
    rows = []
    for (arm, week), due in trial.planned.groupby(["arm", "week"]):
        recorded = trial.sessions.query("arm == @arm and week == @week")
        laid = due[due["file"].notna()]
        rows.append({
            "arm": arm, "week": week + 1, "participants": due["athlete"].nunique(), "sessions_due": len(due),
            "sessions_recorded": len(recorded), "sessions_laid_on_plan": len(laid),
            "dose_pct_of_all_due": 100 * laid["run_done_s"].sum() / due["run_planned_s"].sum(),
            "dose_pct_of_laid": 100 * laid["run_done_s"].sum() / laid["run_planned_s"].sum(),
            "adherence_pct_of_laid": recorded["adherence_pct"].astype(float).mean(),
            "longest_run_s_of_recorded": recorded[OUTCOME].mean(),
        })
    return pd.DataFrame(rows)


def missingness(trial):
    """How many longest runs of the sessions due are known and why the others are not, by arm and week."""
    due = trial.planned.groupby(["arm", "athlete", "week"]).size().rename("due").reset_index()
    grouped = trial.sessions.groupby(["athlete", "week"])[OUTCOME].agg(recorded="size", known="count").reset_index()
    weeks = due.merge(grouped, how="left", on=["athlete", "week"]).fillna({"recorded": 0, "known": 0})
    last = weeks["athlete"].map(trial.sessions.groupby("athlete")["week"].max()).fillna(-1)
    absent = (weeks["due"] - weeks["recorded"]).clip(lower=0)
    weeks["recorded, cannot be told"] = weeks["recorded"] - weeks["known"]
    weeks["left out"] = absent.where(weeks["week"] <= last, 0)
    weeks["no recording any more"] = absent.where(weeks["week"] > last, 0)
    reasons = ["known", "recorded, cannot be told", "left out", "no recording any more"]
    table = weeks.groupby(["arm", "week"])[reasons].sum().astype(int).reset_index()
    return table.assign(week=table["week"] + 1)


def who_leaves(trial):
    """Of the weeks with a recording, how many were an athlete's last, by arm and by whether the week fell short of the plan."""
    asked = trial.planned.groupby("week")["run_planned_s"].mean()
    weeks = trial.sessions.groupby(["arm", "athlete", "week"])["run_s"].mean().reset_index()
    weeks["fell_short"] = weeks["run_s"] < SHORT_SHARE * weeks["week"].map(asked)
    weeks["was_last"] = weeks["week"] == weeks.groupby("athlete")["week"].transform("max")
    weeks = weeks[weeks["week"] < trial.last_week]
    return weeks.groupby(["arm", "fell_short"])["was_last"].agg(weeks="size", were_last="sum").reset_index()


def table_1(trial, codebook):
    """Who took part, by arm; what comes from the audit bears the codebook's unit and meaning."""
    first = trial.seen().query("week == 0").groupby("athlete")[OUTCOME].mean()
    sessions = trial.sessions.groupby("athlete")
    people = trial.squad.set_index("athlete")
    people["first"] = first
    people["recorded"] = sessions.size().reindex(people.index).fillna(0)
    people["heart"] = sessions["hr_share_pct"].apply(lambda shares: shares.notna().any()).reindex(people.index).eq(True)
    people["told"] = 100 * sessions["resolvable"].mean()

    def row(text, values, source="squad.csv", unit="", meaning=""):
        return {"characteristic": text, "unit": unit, "source": source, "meaning": meaning, **values}

    def each(make):
        return {arm: make(part) for arm, part in people.groupby("arm")}

    def mean(column):
        return each(lambda part: f"{part[column].mean():.1f} ({part[column].std():.1f})")

    def of(table, column):
        entry = next(entry for entry in codebook if (entry["table"], entry["column"]) == (table, column))
        return {"source": f"{table}.{column}", "unit": entry["unit"] or "", "meaning": entry["meaning"]}

    return pd.DataFrame([
        row("Participants", each(len)),
        row("Year of birth, mean (SD) of those who told it", mean("birth_year")),
        row("Screened, n", each(lambda part: int((part["screened"] == "yes").sum()))),
        row("Recordings, mean (SD)", mean("recorded"), **of("sessions", "session")),
        row("With a heart rate, n", each(lambda part: int(part["heart"].sum())), **{**of("sessions", "hr_share_pct"), "unit": ""}),
        row("Running told from walking, mean % (SD) of recordings", mean("told"), **of("sessions", "resolvable")),
        row("Longest run in the first week, mean (SD)", mean("first"), **of("sessions", OUTCOME)),
        row("Nothing recorded at all, n", each(lambda part: int((part["recorded"] == 0).sum()))),
    ])


def heart_rate_agreement(trial):
    """Mean heart rate over the runs that were found, against that over the runs that took place (truth/bouts.csv)."""
    truth = pd.read_csv(trial.demo / "truth" / "bouts.csv", dtype={"athlete": str})
    runs = dict(list(truth[truth["kind"] == "run"].groupby("file")))
    rows = []
    for session in trial.sessions.dropna(subset=["run_hr_mean_bpm"]).itertuples():
        recording = boutwise.read(trial.demo / "recordings" / session.file)[session.session - 1]
        at_s = (recording["time"] - recording["time"][0]) / np.timedelta64(1, "s")
        inside = np.zeros(len(at_s), bool)
        for run in runs[session.file].itertuples():
            inside |= (at_s >= run.start_s) & (at_s <= run.end_s)
        beats = recording["hr_bpm"][inside]
        if np.isfinite(beats).any():
            rows.append((session.athlete, session.run_hr_mean_bpm, float(np.nanmean(beats))))
    pairs = pd.DataFrame(rows, columns=["athlete", "found_bpm", "true_bpm"])
    pairs["difference_bpm"] = pairs["found_bpm"] - pairs["true_bpm"]
    return pairs


def limits_of_agreement(pairs):
    """Bias and 95 % limits with several pairs a person: spread between and within people (Bland and Altman 2007, from memory)."""
    groups = [own.to_numpy() for _, own in pairs.groupby("athlete")["difference_bpm"]]
    sizes = np.array([len(own) for own in groups])
    within = sum(((own - own.mean()) ** 2).sum() for own in groups) / (sizes.sum() - len(groups))
    between_ms = sum(len(own) * (own.mean() - pairs["difference_bpm"].mean()) ** 2 for own in groups) / (len(groups) - 1)
    usual_size = (sizes.sum() - (sizes**2).sum() / sizes.sum()) / (len(groups) - 1)
    spread = np.sqrt(within + max(0.0, (between_ms - within) / usual_size))
    bias = float(pairs["difference_bpm"].mean())
    return {"bias_bpm": bias, "low_bpm": bias - 1.96 * spread, "high_bpm": bias + 1.96 * spread, "sessions": len(pairs), "athletes": len(groups)}


def effect(trial):
    """What effect.json holds, beside the fit that it comes from."""
    fit, found = mixed_model(trial, trial.seen())
    told = {"measure": MEASURE, "unit": "s", "arm": trial.arms[1], "against": trial.arms[0], **found}
    return fit, {**told, "level": LEVEL, "method": "mixed model, intention to treat"}


def main():
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    demo, out = map(pathlib.Path, sys.argv[1:])
    import figures
    import report

    trial = Trial(demo)
    out.mkdir(parents=True, exist_ok=True)
    fit, told = effect(trial)
    (out / "effect.json").write_text(json.dumps(told, indent=2) + "\n")
    trial.result.write(out / "audit", formats=("csv", "parquet"))
    codebook = json.loads((out / "audit" / "codebook.json").read_text())
    estimates = {"Mixed model, all who began": told, "The same, athletes drawn anew": bootstrap(trial, fit)}
    for name, (settings, _) in SETTINGS.items():
        estimates[f"The model, {name}"] = effect(Trial(demo, HERE / settings))[1]
    estimates["The model, by the planned week"] = mixed_model(trial, trial.laid())[1]
    estimates["Sessions of the last week alone"] = naive(trial)
    estimates = pd.DataFrame({name: row for name, row in estimates.items() if row}).T[["estimate", "low", "high"]].astype(float)
    pairs = heart_rate_agreement(trial)
    tables = {
        "table1": table_1(trial, codebook), "weeks": by_week(trial), "missing": missingness(trial), "who_leaves": who_leaves(trial),
        "estimates": estimates.rename_axis("analysis").reset_index(), "heart_rate": pd.DataFrame([limits_of_agreement(pairs)]),
    }
    for name, table in tables.items():
        table.round(3).to_csv(out / f"{name}.csv", index=False, lineterminator="\n")
    figures.draw(out, trial, fit, tables, pairs)
    (out / "report.md").write_text(report.text(trial, fit, told, tables, SETTINGS), encoding="utf-8")
    print(f"{MEASURE}: {told['estimate']:.0f} s, {told['low']:.0f} to {told['high']:.0f} s; read {out / 'report.md'}")


if __name__ == "__main__":
    main()
