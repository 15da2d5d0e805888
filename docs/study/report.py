"""The text of the worked study: figures from tables, and what they mean."""


def markdown(table):
    cells = [[str(column) for column in table.columns], ["---"] * len(table.columns)]
    cells += [[f"{value:.1f}" if isinstance(value, float) else str(value) for value in row] for row in table.itertuples(index=False)]
    return "\n".join("| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in cells)


def interval(row):
    return f"{row['estimate']:.0f} s (95 % interval {row['low']:.0f} to {row['high']:.0f} s)"


def text(trial, fit, told, tables, settings):
    a, b = trial.arms
    estimates = tables["estimates"].set_index("analysis")
    weeks = tables["weeks"]
    last = weeks[weeks["week"] == trial.last_week + 1].set_index("arm")
    manifest = trial.result.manifest
    table1 = tables["table1"].drop(columns=["source", "meaning"])
    bold = estimates.iloc[0]
    simple = estimates.loc["Sessions of the last week alone"] if "Sessions of the last week alone" in estimates.index else None
    agreement = tables["heart_rate"].iloc[0]
    laid = estimates.loc["The model, by the planned week"]
    left_out = 1 - weeks["sessions_laid_on_plan"].sum() / weeks["sessions_recorded"].sum()
    leaves = tables["who_leaves"].groupby("fell_short")[["weeks", "were_last"]].sum().reindex([False, True], fill_value=0)
    others, short = leaves.loc[False], leaves.loc[True]
    here = {arm: 100 * last.loc[arm, "sessions_recorded"] / last.loc[arm, "sessions_due"] for arm in trial.arms}
    alone = "Nobody of one arm recorded two sessions in the last week: their sessions say nothing." if simple is None else f"""\
Comparing the recorded sessions of the last week as they stand in sessions.csv gives {interval(simple)}; the model of all who
began gives {interval(bold)}. In any one trial the two may lie near each other; over many (`draws.csv`) the simple comparison
misses the planted effect far more often. It gets three things wrong:

- *Who is still there.* In the last week arm {a} recorded {here[a]:.0f} % of the sessions due and arm {b} {here[b]:.0f} %. By the way
  this trial was drawn, who falls short of the plan gives up more often, and more so in arm {a} (here {short['were_last']} of {short['weeks']} weeks
  that fell short were an athlete's last, and {others['were_last']} of {others['weeks']} others). Who is left in arm {a} runs longer than who began,
  so that the difference looks smaller than it is.
- *Sessions are no people.* Up to three sessions a week of one person are counted as three people's. How sure the difference is
  looks then better than it is.
- *What was left out is no dose.* In the last week the sessions laid on the plan reached {last.loc[a, 'dose_pct_of_laid']:.0f} % and
  {last.loc[b, 'dose_pct_of_laid']:.0f} % of their dose in arms {a} and {b}; of what was due {last.loc[a, 'dose_pct_of_all_due']:.0f} % and
  {last.loc[b, 'dose_pct_of_all_due']:.0f} % were done. sessions.csv has no row for a session that nobody recorded; planned.csv has."""
    wrong = f"""{alone}

Taking each session in the week of the planned one that it was laid on gives {interval(laid)}. A session is laid on the
planned one that it is like, so one that fell far short may be laid on an earlier week's, or on none ({100 * left_out:.0f} % of the
recorded ones here). Who goes by that goes by the outcome, and sees each week nearer to what the plan asked than it was. The week
of a session is therefore that of its day."""
    return f"""# An invented trial: does arm {b} run longer than arm {a}?

All data are invented; what is true of them lies in the demo's folder `truth`. Made from the audit in `audit` (boutwise
{manifest['version']}, judged as of {manifest['as_of']}, {len(manifest['inputs'])} files); the digest of the manifest stands in each Parquet file.

## Effect

In the last week the longest run of a session was longer by **{interval(bold)}** in arm {b} than in arm {a}: mixed model by
restricted maximum likelihood over every recorded session whose longest run is known, with a line for each athlete about the line of the
arm, intention to treat. Standard deviations: between athletes {fit.cov_re.iloc[0, 0] ** 0.5:.0f} s in the first week and
{fit.cov_re.iloc[1, 1] ** 0.5:.1f} s a week, within an athlete {fit.scale ** 0.5:.0f} s.

{markdown(tables["estimates"])}

{chr(10).join(f"- *{name}*: {meaning} (`{file}`)." for name, (file, meaning) in settings.items())}

![Estimates](estimates.svg)
![Longest run](longest_run.svg)

## What sessions alone get wrong

{wrong}

## Who took part

{markdown(table1)}

## Dose and adherence by week and arm

{markdown(weeks)}

![Dose](dose.svg)

## What is missing

Sessions due by whether a longest run is known for them:

{markdown(tables["missing"])}

Weeks with a recording, before the last, and how many of them were the athlete's last:

{markdown(tables["who_leaves"])}

The model is sound where leaving depends on the arm and on what was seen before, such as a week that fell short. It would not
be where people leave for what no recording shows. That cannot be tested from these data.

![Missing](missing.svg)

## Heart rate

Mean heart rate over the runs that were found against that over the runs that took place, {agreement['sessions']:.0f} sessions of
{agreement['athletes']:.0f} athletes: bias {agreement['bias_bpm']:.2f}, 95 % limits of agreement {agreement['low_bpm']:.2f} to
{agreement['high_bpm']:.2f} beats per minute.

![Heart rate](heart_rate.svg)
"""
