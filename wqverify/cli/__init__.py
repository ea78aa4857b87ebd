"""The commands: each parses, calls one function, prints."""

from __future__ import annotations

import sys
from importlib import import_module

import click

from wqverify import __version__

# name -> (module, one line of help). Kept here so that --help imports none of the modules.
COMMANDS = {
    "new": ("plant", "Make a small, commented plant folder."),
    "plant": ("plant", "Check the plant folder, or accept what changed in it."),
    "cautions": ("run", "Show the cautions of a procedure, to read before the work."),
    "round": ("round", "Write the folder of a round: a blank field sheet per analyzer."),
    "blank": ("blank", "Print a blank field sheet for a clipboard, or write one to fill in an editor."),
    "step": ("step", "Step through a visit, one question at a time, in this terminal."),
    "open": ("open", "Open the form of a visit in JupyterLab, on this computer only."),
    "run": ("run", "Compute field sheets and rounds, make records and pages, enter them into the book."),
    "show": ("run", "Show a record in the terminal."),
    "sign": ("sign", "Sign records, or those of a round, as the performer."),
    "review": ("sign", "Countersign records, or those of a round, as the reviewer."),
    "today": ("today", "List outputs still held, clocks that run, open sheets."),
    "due": ("due", "List what is due and when, in walking order, and what to take along."),
    "done": ("due", "List how the plan of a month was kept: done, late, skipped, not done."),
    "history": (
        "history",
        "Show the history of a tag: errors, drift, control charts, advice on its interval.",
    ),
    "follow-up": ("follow_up", "Enter that something a record leaves to be done was done."),
    "queue": ("queue", "List what waits for whom, exceptions first."),
    "question": ("queue", "Return a signed record to its performer with a question."),
    "answer": ("queue", "Answer the question a record was returned with."),
    "people": ("people", "Add, replace or withdraw the signing keys of people."),
    "examine": ("audit", "Examine signed PDFs strictly and name what is wrong."),
    "rerun": ("rerun", "Run records again and compare."),
    "audit-pack": ("pack", "Make a pack of a month for an auditor."),
    "prove": ("prove", "Run published values on this computer and keep the result as a proof."),
    "book": ("book", "List, examine and anchor the record book."),
    "handover": ("handover", "Say what to tell operations, the laboratory or the customer town of a record."),
    "lookup": ("lookup", "Look up a number at the bench: a buffer, a slope, oxygen, a Pt100, a current."),
    "trend": ("trend", "Read an export of the control system or laboratory and say what is in it."),
    "triage": (
        "triage",
        "Look over trend exports: flat, clamped, gaps, spikes, noise, twins, gravest first.",
    ),
    "demo": ("demo", "Make the synthetic Ellodale plant and a month of its visits."),
}


class Commands(click.Group):
    """A group whose commands are imported when they are called, so that --help stays fast."""

    def list_commands(self, _ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, _ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"wqverify.cli.{COMMANDS[cmd_name][0]}_commands")
        command: click.Command = getattr(module, cmd_name.replace("-", "_"))
        return command

    def format_commands(self, _ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_module, line) in COMMANDS.items()])


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="wqverify")
def cli() -> None:
    """Verify online analyzers of a drinking-water plant: from field sheet to signed record, and again.

    Commands look upward from the current folder for the plant folder; --plant FOLDER overrides.
    Exit codes: 0 done, whatever the outcome; 1 differs or damaged; 2 refused input; 3 could not run.
    """


def main() -> None:
    """Run the command line: a user never sees a traceback for something they typed."""
    from wqverify.errors import WqverifyError

    try:
        code = cli(standalone_mode=False)  # a command returns its exit code, None for 0
    except click.exceptions.Abort:
        click.echo("Stopped; what was finished before stays.", err=True)
        sys.exit(3)
    except click.ClickException as problem:
        problem.show()
        sys.exit(2)
    except WqverifyError as problem:
        from wqverify.cli.common import echo, print_json

        echo(problem.message, err=True)
        if "--json" in sys.argv:
            print_json({"refused": problem.message, "found": problem.found, "expected": problem.expected})
        sys.exit(problem.exit_code)
    except KeyboardInterrupt:
        click.echo("Stopped; what was finished before stays.", err=True)
        sys.exit(3)
    except OSError as problem:  # the last net: where one is expected it is told better
        where = f" at {problem.filename}" if problem.filename else ""
        click.echo(
            f"The computer refused{where}: {problem.strerror or problem}. What was finished before stays; "
            f"mend that and run the command again.",
            err=True,
        )
        sys.exit(3)
    sys.exit(code or 0)
