"""Fails when a group of tests that must run ran nothing; closes with the count of all.

usage: groups.py LOG GROUPS    LOG is the output of cargo test, GROUPS one line a group:
                               the end of its "Running" line up to the bracket.
"""

import re
import sys


def main(log_path: str, groups_path: str) -> int:
    counts: dict[str, int] = {}
    group = None
    passed = failed = 0
    with open(log_path, encoding="utf-8", errors="replace") as log:
        for line in log:
            if running := re.match(r"\s+Running (?:unittests )?(\S+) \(.*/(\S+)-[0-9a-f]+\)", line):
                group = f"{running[2]} {running[1]}"
            elif docs := re.match(r"\s+Doc-tests (\S+)", line):
                group = f"{docs[1]} docs"
            elif result := re.match(r"test result: .*? (\d+) passed; (\d+) failed;", line):
                counts[group or "?"] = int(result[1]) + int(result[2])
                passed += int(result[1])
                failed += int(result[2])
    with open(groups_path, encoding="utf-8") as groups:
        wanted = [line.strip() for line in groups if line.strip() and not line.startswith("#")]
    empty = [name for name in wanted if not counts.get(name)]
    for name in empty:
        print(f"group ran nothing: {name}")
    for name in sorted(set(counts) - set(wanted)):
        if counts[name]:
            print(f"group not listed in {groups_path}: {name} ({counts[name]})")
            empty.append(name)
    print(f"{passed} passed, {failed} failed")
    return 1 if empty or failed or not passed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2]))
