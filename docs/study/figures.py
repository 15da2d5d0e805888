"""The figures of the worked study, as SVG: the same bytes for the same tables."""

import matplotlib

matplotlib.use("svg")
matplotlib.rcParams["svg.hashsalt"] = "boutwise"
import matplotlib.pyplot as plt
import numpy as np

# Told apart also without colour: marker and line (palette of Okabe and Ito, from memory).
LOOKS = [("#0072B2", "o", "-"), ("#D55E00", "s", "--")]


def save(figure, out, name):
    figure.tight_layout()
    figure.savefig(out / f"{name}.svg", metadata={"Date": None})
    plt.close(figure)


def draw(out, trial, fit, tables, pairs):
    weeks = tables["weeks"]
    figure, axes = plt.subplots(figsize=(7, 4.5))
    for arm, (colour, marker, line) in zip(trial.arms, LOOKS):
        own = weeks[weeks["arm"] == arm]
        axes.plot(own["week"], own["longest_run_s_of_recorded"], marker, color=colour, mfc="none", label=f"{arm}: mean of what was recorded")
        at = np.arange(trial.last_week + 1)
        is_b = float(arm == trial.arms[1])
        axes.plot(at + 1, np.column_stack([np.ones_like(at), at, at * 0 + is_b, at * is_b]) @ fit.fe_params, line, color=colour, label=f"{arm}: model, all who began")
    axes.set(xlabel="Week of the plan", ylabel="Longest run of a session (s)", title="Longest unbroken run")
    axes.legend()
    save(figure, out, "longest_run")

    figure, (left, right) = plt.subplots(1, 2, figsize=(9, 4), sharex=True, sharey=True)
    for arm, (colour, marker, line) in zip(trial.arms, LOOKS):
        own = weeks[weeks["arm"] == arm]
        left.plot(own["week"], own["dose_pct_of_all_due"], marker + line, color=colour, label=arm)
        right.plot(own["week"], own["dose_pct_of_laid"], marker + line, color=colour, label=arm)
    left.set(xlabel="Week of the plan", ylabel="Dose (%)", title="Of all sessions due", ylim=(0, 105))
    right.set(xlabel="Week of the plan", title="Of sessions laid on the plan alone")
    left.legend(title="Arm")
    save(figure, out, "dose")

    missing = tables["missing"]
    reasons = [column for column in missing.columns if column not in ("arm", "week")]
    figure, panes = plt.subplots(1, 2, figsize=(9, 4), sharey=True)
    for pane, arm in zip(panes, trial.arms):
        own = missing[missing["arm"] == arm].set_index("week")[reasons]
        own = 100 * own.div(own.sum(axis=1), axis=0)
        below = np.zeros(len(own))
        for reason, hatch in zip(reasons, ["", "//", "..", "xx"]):
            pane.bar(own.index, own[reason], bottom=below, label=reason, hatch=hatch, edgecolor="white")
            below = below + own[reason].to_numpy()
        pane.set(xlabel="Week of the plan", title=f"Arm {arm}")
    panes[0].set_ylabel("Planned sessions (%)")
    panes[1].legend(fontsize="small")
    save(figure, out, "missing")

    estimates = tables["estimates"].iloc[::-1]
    figure, axes = plt.subplots(figsize=(7, 3))
    at = np.arange(len(estimates))
    axes.errorbar(estimates["estimate"], at, xerr=[estimates["estimate"] - estimates["low"], estimates["high"] - estimates["estimate"]], fmt="o", color="black", capsize=3)
    axes.set_yticks(at, estimates["analysis"])
    axes.axvline(0, color="grey", lw=0.8)
    axes.set(xlabel=f"Longest run in the last week, {trial.arms[1]} minus {trial.arms[0]} (s), 95 % interval")
    save(figure, out, "estimates")

    agreement = tables["heart_rate"].iloc[0]
    figure, axes = plt.subplots(figsize=(6, 4))
    axes.plot((pairs["found_bpm"] + pairs["true_bpm"]) / 2, pairs["difference_bpm"], "o", color=LOOKS[0][0], ms=3)
    for column, line in (("bias_bpm", "-"), ("low_bpm", "--"), ("high_bpm", "--")):
        axes.axhline(agreement[column], color="black", ls=line, lw=0.8)
    axes.set(xlabel="Mean of both (beats/min)", ylabel="Found minus true (beats/min)", title="Heart rate over the runs: bias and 95 % limits of agreement")
    save(figure, out, "heart_rate")
