"""Fails where a column was empty in every audit of a run of the oracle, so that its check compared nothing.

    filled.py TALLY      the file that audit.py wrote with --tally
"""

import json
import sys
from collections import Counter

# Columns that no squad here fills, or that are not compared, with the reason.
EMPTY = {
    "sessions.by_hand": "nothing is said by hand in these squads; crates/audit and crates/season test it",
    "athletes.goal_reached_date": "nobody of these squads has run 5 km without a break yet",
    "athletes.coach_decision": "nobody decides otherwise in these journals",
}


def main():
    held = Counter()
    with open(sys.argv[1], encoding="utf-8") as file:
        for line in file:
            held.update(json.loads(line))
    empty = sorted(column for column, cells in held.items() if not cells and column not in EMPTY)
    for column in empty:
        print(f"EMPTY: {column} holds nothing in any of the audits; fill it in one, or say why not")
    print(f"{len(held)} columns, {sum(held.values())} cells compared")
    sys.exit(bool(empty) or not held)


main()
