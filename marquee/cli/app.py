"""The program `marquee`: its commands, and the one place where errors become a line and a status."""

from __future__ import annotations

import contextlib
import gc
import os
import re
import signal
import sys
from enum import IntEnum

import click

from marquee import __version__
from marquee.cli.lazy import LazyGroup
from marquee.cli.streams import drop_output, flush_output, has_no_room, prepare_streams
from marquee.errors import MarqueeError, printable

# The command line's library speaks of types and ranges as programs do.
_PLAINER = (
    (
        re.compile(r"is not a valid float( range)?$"),
        "is not a number: write digits alone, such as 0.3",
    ),
    (
        re.compile(r"is not a valid integer( range)?$"),
        "is not a whole number: write digits alone, such as 3",
    ),
    (re.compile(r"is not in the range (\S+?)<=x<=(\S+)$"), r"is not from \1 to \2"),
    (re.compile(r"is not in the range x>=(\S+)$"), r"is less than \1"),
)


class Exit(IntEnum):
    """Exit statuses, a contract."""

    DONE = 0
    WARNED = 1  # only with --strict
    BAD_INPUT = 2
    OUR_BUG = 70  # EX_SOFTWARE of sysexits.h, 4.3BSD
    INTERRUPTED = 130


# Command → where it is, and its first line of help: a test holds the two together.
COMMANDS = {
    "plan": (
        "marquee.cli.plan",
        "Plan a marquee from artwork and flags, or from a project file (flags win); several at once, too.",
    ),
    "demo": ("marquee.cli.plan", "Plan the packaged demo, the marquee of an invented venue."),
    "new": (
        "marquee.cli.new",
        "Start a project: DIR/project.toml with every setting, its default and its reason.",
    ),
    "compare": (
        "marquee.cli.compare",
        "Tell what changed between two plans: give the folders, or their plan.json files.",
    ),
    "zones": (
        "marquee.cli.zones",
        "Show the zones of an artwork: what shares a colour, and what is too near what.",
    ),
    "colour": (
        "marquee.cli.colour",
        "Show the bytes that come closest to colours (CSS Color 4: #rrggbb, rgb(), lab(), oklch(), color()).",
    ),
    "light": (
        "marquee.cli.light",
        "Show each zone's light, advice found by running the model again, and sweeps of depth or pitch.",
    ),
    "parts": (
        "marquee.cli.parts",
        "List the LED parts, or show all figures of one with their sources; or the box's materials.",
    ),
    "power": (
        "marquee.cli.power",
        "Size supply, wire and fuses for a chain, every channel full, without any artwork.",
    ),
    "bench": (
        "marquee.cli.bench",
        "Measure or match colours on the finished sign, and let every later plan know.",
    ),
    "header": (
        "marquee.cli.header",
        "Print a plan's firmware constants, or --check whether a header is edited or stale.",
    ),
    "firmware": (
        "marquee.cli.firmware",
        "Write DIR with an example program in plain C, its Makefile and the plan's constants.",
    ),
}


@click.group(
    cls=LazyGroup,
    places=COMMANDS,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Example: marquee plan sign.png --width 380mm",
)
@click.version_option(__version__, prog_name="marquee")
def program() -> None:
    """Plan a back-lit marquee, from artwork to something you can build.

    Colours, walls, LEDs, light, power, cut lines and firmware constants.
    """


def main() -> None:
    """Run the command line and exit with its status; never show a traceback unless MARQUEE_TRACE is set."""
    # On matrices as small as ours the library's threads double the processor time and gain nothing (measured), and a
    # process with one thread may share its work out to copies of itself.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Looking for another package's plugins to the settings' library takes time and would run its code.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    # A short life with few cycles of references: looking for them less often saves more than it keeps (measured).
    gc.set_threshold(50_000, 20, 20)
    prepare_streams()
    status = run(sys.argv[1:])
    # What is still there goes with the process; searching all of it for cycles once more took 0.2 s after a plan.
    gc.freeze()
    sys.exit(status)


def run(arguments: list[str]) -> int:
    """Return the exit status of one command line."""
    output = sys.stdout
    try:
        result = program.main(arguments, prog_name="marquee", standalone_mode=False)
        flush_output()
    except Exception as error:  # noqa: BLE001 -- the one place where any error becomes a line
        return _failed(error)
    except SystemExit:
        if sys.stdout is output:
            raise
        return _failed(
            BrokenPipeError()
        )  # met by the command line's library, which wraps the stream
    except KeyboardInterrupt:
        return _say("stopped; nothing was written", Exit.INTERRUPTED)
    return int(result) if isinstance(result, int) else Exit.DONE


def _failed(error: Exception) -> int:
    if isinstance(error, click.exceptions.Exit):
        return error.exit_code
    if isinstance(error, click.exceptions.NoArgsIsHelpError) and error.ctx is not None:
        click.echo(error.ctx.get_help())
        return int(Exit.BAD_INPUT)
    if isinstance(error, BrokenPipeError):
        # The reader went away (| head): end quietly as other tools do.
        drop_output()
        return 128 + signal.SIGPIPE
    if has_no_room(error):
        drop_output()
    told = _told(error)
    if told is not None:
        return _say(*told)
    if os.environ.get("MARQUEE_TRACE"):
        raise error
    name = type(error).__name__
    return _say(
        f"our bug: {name}: {error}; run again with MARQUEE_TRACE=1 and report it", Exit.OUR_BUG
    )


def _told(error: Exception) -> tuple[str, int] | None:
    """Return the line and status of an error that is not ours; None for one that is."""
    if isinstance(error, click.Abort):
        return "stopped; nothing was written", Exit.INTERRUPTED
    if isinstance(error, click.UsageError):
        return _usage(error), Exit.BAD_INPUT
    if isinstance(error, click.ClickException | MarqueeError):
        # click's own str is the bare message; ours is where, what and mend.
        return str(error), Exit.BAD_INPUT
    if isinstance(error, MemoryError):
        what = "memory: too little for this; close other programs or make the picture smaller"
        return what, Exit.BAD_INPUT
    if has_no_room(error):
        reason = getattr(error, "strerror", None) or error
        return f"output: cannot be written ({reason}); free some space", Exit.BAD_INPUT
    return None


def _usage(error: click.UsageError) -> str:
    command = error.ctx.command_path if error.ctx is not None else "marquee"
    text = error.format_message().rstrip(".")
    for pattern, plain in _PLAINER:
        text = pattern.sub(plain, text)
    return f"{text}; see '{command} --help'"


def _say(text: str, status: int) -> int:
    with contextlib.suppress(OSError):  # nobody is left to be told
        click.echo(f"marquee: {printable(text)}", err=True)
    return int(status)
