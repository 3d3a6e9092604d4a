"""Phrases of the screens; sentences that depend on a review are in ``words``."""

from __future__ import annotations

from collections.abc import Sequence

from core.job import Problem
from dashboard.figures import counted

OWN_SHEETS = "your sheets"
UPLOAD_LABEL = "Your own bench sheets (CSV)"
UPLOAD_LIMIT_MB = 10
NO_SUCH_JOB = "That job is not here, or no longer. This is another one."

EMPTY_LEAD = "No job yet. Drop two or more bench sheets to see what the work gained."
EMPTY_HELP = (
    "Use the field in the sidebar (on a phone, » opens it). A sheet is lift down the side, flow beside it, "
    "a unit in each header. One sheet for each stage and set-up. Or type them, or take a spreadsheet, under "
    "Job sheet. Nothing leaves this computer."
)
MISSING_ROOT = (
    "The folder of the jobs cannot be looked into ({why}). Connect its drive, or allow this user to read it, "
    "and reload this page; or start on another folder. Nothing in it was changed."
)
EMPTY_CUSTOMER = "The folder that this page was started on holds no bench sheet."
SAMPLE_LABEL = "Download this sample sheet"
SAMPLE_NAME = "sample-bench-sheet.csv"
SAMPLE_SHEET = """\
# stage: bowl blend
# port: 2
# test pressure: 25 inH2O
# barometer: 984 hPa
# air temperature: 21.5 degC
lift [mm],intake [L/s],exhaust [L/s]
1,21.4,17.0
2,43.1,33.8
3,62.0,48.9
4,78.3,61.2
"""

MEND_UPLOADS = (
    "Mend the file, take its old version off the list in the sidebar with ×, and add the new one. "
    "On a phone, » opens the sidebar."
)

LADDER_TITLE = "What each stage cost and gained"
PDF_LABEL = "Download summary.pdf"
STEPS_CAPTION = (
    "Each step stands on the one before; the thin mark is its ±. Hollow and dashed: too close to call."
)
MORE_FIGURES = "More figures: percent, peak, share of the whole, price for each unit of flow"
MORE_CAPTION = (
    "A share is given for clear gains only. Shares need not add up to 100 %: each comparison runs over the "
    "lifts and ports that both stages have. A price is a range because the gain is one."
)
CHART_HINT = "Point at a reading, or choose the chart and press an arrow key, and its numbers stand here."
FINDINGS_TITLE = "What to know"
NOTHING_GRAVE = "Nothing stands against these numbers."
RECOMPUTE_TITLE = "How to recompute these numbers"
CONDITIONS_TITLE = "Conditions of each bench sheet"
CORRECTIONS_TITLE = "Corrections"
ON_EVERY_SHEET = "On every sheet"

TARGET_TITLE = "Gap in flow coefficient"
TARGET_CAPTION = (
    "Flow coefficient, on valve head area, less that of the target: what is left of the gap when the size of "
    "the valves is taken out."
)
NO_TARGET_COEFFICIENTS = (
    "The diameter of the valve or of the target's is not stated, so flows are compared without regard to "
    "valve size: a larger valve could hide a worse port."
)
ASSUMED_FOR_CUSTOMER = "What was assumed"
NO_STEP_HERE = "There is no second stage on this side to compare with."
CURTAIN_TITLE = "**Discharge coefficient, on curtain area**"
HEAD_TITLE = "**Flow coefficient, on valve head area**"
COEFFICIENT_CAPTION = (
    "Against the isentropic flow of the same area. Set against the incompressible one, √(2 Δp ÷ ρ), as those "
    "from elsewhere may be, each would be {less} less. L/D is lift over valve diameter. Digits follow what "
    "is known of the flow."
)
NO_COEFFICIENTS = "The valve's diameter is not stated, so there are no coefficients."
RATIO_CAPTION = "Exhaust flow over intake flow at the same lift. It is shown, not judged."
NO_RATIO = "Only one side was measured."

MAY_SEE = "What the racer may see"
WITHHELD = "What is not chosen is in no file. The job's own files would tell it, so job.zip stays here."
STILLS_COMPARE = "Stills compare"
STILLS_SIDE = "Side of the stills"
ALL_FILES = "Download all files"
FILES_TITLE = "Files"
FILE_FOR = {
    "summary.pdf": "for the racer, on paper or by mail",
    "results.html": "one page for a web link, works without a network",
    "still-16x9.png": "beside a video, 1920 × 1080",
    "still-9x16.png": "beside an upright video, 1080 × 1920",
    "still-overlay.png": "on a video, transparent around it",
    "numbers.txt": "for under a video",
    "numbers.csv": "for a spreadsheet",
    "numbers.json": "for a program, in SI units",
    "job.zip": "for the shop's archive, the job as it was read",
}


def ready(count: int, *, customer: bool) -> str:
    """Return how many files can leave the shop."""
    return f"{counted(count, 'file')} {'to take with you' if customer else 'ready to leave the shop'}."


def making(name: str) -> str:
    """Return what is being made."""
    return f"Making {name}"


def download_of(name: str) -> str:
    """Return a button's words."""
    return f"Download {name}"


def preview_of(name: str) -> str:
    """Return what a preview is, for who cannot see it."""
    return f"Preview of {name}"


def first_lines(shown: int, count: int) -> str:
    """Return how much of a text is shown."""
    return f"The first {shown} of {count} lines; the file has all of them."


def problem_count(problems: Sequence[Problem], files: int) -> str:
    """Return ``5 problems in 3 files``, and what became of the others."""
    bad = len({problem.file for problem in problems})
    text = f"{counted(len(problems), 'problem')} in {counted(bad, 'file')}."
    sound = max(files - bad, 0)
    kept = f" {counted(sound, 'file')} {'is' if sound == 1 else 'are'} sound." if sound else ""
    return f"**{text}**{kept} No gain is shown until this is mended: half a job would mislead."


def missing_root(why: str) -> str:
    """Return what is said where the folder of all jobs is not to be had."""
    return MISSING_ROOT.format(why=why)


def unshown_folders(count: int) -> str:
    """Return what is said of job folders whose names no browser can be sent."""
    if count == 1:
        return "A job folder has a name that is no text in UTF-8. Rename it to see it here."
    return f"{count} job folders have names that are no text in UTF-8. Rename them to see them here."
