"""The command: ``trackkit start``, ``form``, ``check``, ``plan``, ``card``.

Exit status: 0 done, 1 the job cannot be done as asked (and why; what can be planned is printed and
written all the same), 2 the input is wrong (every fault).
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

__all__ = ["app", "main"]

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Read the ground, find the finished line, and plan what stands under every tie of a dolly track.",
)
JobPath = Annotated[Path, typer.Argument(metavar="JOB", help="A job's folder, or its job.toml.")]


@app.command()
def plan(
    job: JobPath,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Where to write; default: JOB/plan.")
    ] = None,
) -> None:
    """Plan the job: print it, and write its tables, its picture and plan.json."""
    from trackkit.job import load_job
    from trackkit.plan import make_plan

    loaded = load_job(job)
    made = make_plan(loaded)
    _say(made.text())
    folder = out if out is not None else loaded.folder / "plan"
    written = made.save(folder)
    _say(f"Written to {folder}: {', '.join(sorted(path.name for path in written))}\n")
    if not made.can_be_done:
        _fail(1, "The job cannot be done as asked: see STOP at the top of the plan.")


@app.command()
def check(job: JobPath) -> None:
    """Check the readings: can they be trusted, what may be wrong with them, and what to read next."""
    from trackkit.checked import check_text
    from trackkit.fitted import fit_readings
    from trackkit.job import load_job
    from trackkit.plan import lay_on
    from trackkit.problems import CannotDo

    loaded = load_job(job)
    ground, no_run = fit_readings(loaded)
    laid = None
    if not no_run and ground.sides:
        try:
            laid = lay_on(loaded, ground)
        except CannotDo as why:
            no_run = str(why)
    _say(check_text(loaded, ground, no_run, laid))


@app.command()
def study(
    job: JobPath,
    choices: Annotated[
        bool, typer.Option("--choices/--no-choices", help="Lay it in other ways too, side by side.")
    ] = True,
) -> None:
    """Tell how much hangs on the point that the line is set from, and what other ways of laying it cost."""
    from trackkit.choices import compare_choices
    from trackkit.chosen_words import choices_text
    from trackkit.fitted import fit_job
    from trackkit.job import load_job
    from trackkit.plan import lay_line, stack_up
    from trackkit.studied import study_job
    from trackkit.studied_day import study_text

    loaded = load_job(job)
    fitted = fit_job(loaded)
    found = study_job(stack_up(lay_line(loaded, *fitted)))
    _say(f"{loaded.name}\n{study_text(found)}\n")
    if choices:
        _say(f"\n{choices_text(compare_choices(loaded, fitted=fitted))}\n")


@app.command()
def card(job: JobPath) -> None:
    """Print the gap card: for every gap the pieces to put in, from this truck. Needs no survey."""
    from trackkit.cribbing.card import card_text, gap_card
    from trackkit.job import load_job

    loaded = load_job(job, survey=False)
    assert loaded.truck is not None  # load_job reads it when no survey is asked for
    display = loaded.display.name
    found = gap_card(loaded.truck, rules=loaded.stack_rules, ground=loaded.ground_kind, display=display)
    _say(card_text(found, display=display, notes=(loaded.name,)))


@app.command()
def form(
    job: JobPath,
    paper: Annotated[
        str | None, typer.Option("--paper", metavar="A4|Letter", help="Default: Letter for inches, else A4.")
    ] = None,
    spacing: Annotated[
        str | None,
        typer.Option("--spacing", metavar="LENGTH", help='Between stations, at most: "1.5 m", "4 ft".'),
    ] = None,
    lasers: Annotated[int, typer.Option("--lasers", metavar="N", help="How many laser positions.")] = 1,
    phone: Annotated[
        bool | None,
        typer.Option("--phone/--no-phone", help="Ask for boards and left-to-rights by phone, or don't."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Where to write; default: JOB/form.")
    ] = None,
) -> None:
    """Make the blank booking sheet to print, and the table to type it into. Needs no readings, no truck."""
    from trackkit.form import as_length, save_form
    from trackkit.job import load_job
    from trackkit.paper import wrapped
    from trackkit.worth import worth_lines

    loaded = load_job(job, survey=False, truck=False)
    folder = out if out is not None else loaded.folder / "form"
    written = save_form(loaded, folder, paper=paper, spacing=spacing, lasers=lasers, phone=phone)
    sheet, table = (path.name for path in written)
    levels = loaded.folder / "levels.csv"
    first = "move the levels.csv of the earlier survey away, " if levels.exists() else ""
    worth = worth_lines(loaded, spacing=as_length(spacing), lasers=lasers)
    _say(
        f"Written to {folder}: {sheet}, {table}\n"
        + "".join(f"{wrapped(line, hang=2)}\n" for line in worth)
        + f"Print {sheet} and read the rods in its order. To type them in, {first}copy {table} to {levels}, "
        "and fill in the rods there.\n"
    )


@app.command()
def start(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new folder, or an empty one.")],
) -> None:
    """Copy the notebooks and the demo jobs into a folder to begin from."""
    from trackkit.starting import copy_start

    copied = copy_start(folder)
    _say(
        f"Copied {len(copied)} files to {folder}.\n"
        f"Next: jupyter lab {folder}, and open notebooks/00_start.ipynb in the list at the left\n"
        f"  or: trackkit plan {folder / 'data_demo' / 'boathouse_lawn'}\n"
    )


def main() -> None:
    """Run the command; faults go to standard error in plain words, never as a traceback."""
    from trackkit.problems import CannotDo, FitError, InputProblems

    try:
        app(standalone_mode=False)
    except InputProblems as faults:
        count = len(faults.problems)
        _fail(2, f"{count} fault{'s' if count > 1 else ''} in the input:\n{faults}")
    except FitError as error:
        _fail(2, str(error))
    except CannotDo as error:
        _fail(1, str(error))
    except typer.Abort:
        _fail(1, "stopped")
    except (
        FileNotFoundError,
        PermissionError,
        NotADirectoryError,
        FileExistsError,
        IsADirectoryError,
    ) as error:
        _fail(2, f"{error.strerror}: {error.filename}")
    except OSError as error:
        _fail(1, f"could not write: {error.strerror or error}")
    except Exception as error:
        if hasattr(error, "exit_code") and hasattr(error, "format_message"):  # a misused command line
            _fail(2, error.format_message())
        raise


def _say(text: str) -> None:
    """Print text, whatever characters the terminal knows."""
    encoding = sys.stdout.encoding or "utf-8"
    sys.stdout.write(text.encode(encoding, errors="replace").decode(encoding))


def _fail(status: int, message: str) -> None:
    sys.stderr.write(message.rstrip() + "\n")
    raise SystemExit(status)
