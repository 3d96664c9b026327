"""Says what a report of pip-audit means for this project; exit code 1 where a newer version mends a vulnerability.

    python .ci/audit.py REPORT.json

A vulnerability that no version mends yet is told and does not fail. Packages that could not be asked about are counted:
an index that does not answer makes a report without findings, which is no clean bill.
"""

import json
import sys
from pathlib import Path


def verdict(report: Path) -> tuple[bool, list[str]]:
    """Whether CI may pass, and lines to print."""
    try:
        packages = json.loads(report.read_text("utf-8"))["dependencies"]
    except (OSError, ValueError, KeyError, TypeError):
        return True, ["warning: NOT CHECKED: no report, the index of vulnerabilities was not reached"]
    skipped = [one["name"] for one in packages if "skip_reason" in one]
    lines = []
    is_well = True
    for one in packages:
        for found in one.get("vulns", []):
            mended = ", ".join(found["fix_versions"])
            outlook = f"mended in {mended}" if mended else "no version mends it yet"
            lines.append(f"{one['name']} {one['version']}: {found['id']}, {outlook}")
            is_well &= not mended
    asked = len(packages) - len(skipped)
    if skipped:
        lines.append(f"warning: NOT CHECKED: {len(skipped)} of {len(packages)} packages ({', '.join(skipped[:5])} ...)")
    lines.append(
        f"{asked} packages checked, {sum(len(one.get('vulns', [])) for one in packages)} known vulnerabilities"
    )
    return is_well, lines


if __name__ == "__main__":
    may_pass, said = verdict(Path(sys.argv[1]))
    print("\n".join(said))
    sys.exit(0 if may_pass else 1)
