"""The ``archwise`` command."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NoReturn

SIZES = {"1080p": (1920, 1080), "4k": (3840, 2160)}
FORMATS = (".png", ".svg")


class Refused(Exception):  # noqa: N818 - a wish that cannot be met, told in one line
    """Something the user asked for cannot be done; the words say what and what to try."""


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one line."""

    def error(self, message: str) -> NoReturn:
        """Leave with 2."""
        self.exit(2, f"archwise: {message}. Try {self.prog} --help.\n")


def _parser() -> argparse.ArgumentParser:
    import simulator

    parser = _Parser(
        prog="archwise",
        description="See how sonar echoes become pictures. Without a command it opens the site.",
    )
    parser.add_argument("--version", action="version", version=f"archwise {simulator.__version__}")
    parser.set_defaults(port=None, no_browser=False)
    _serve_options(parser)
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    serve = commands.add_parser("serve", help="open the site on this machine (the default)")
    _serve_options(serve)
    draw = commands.add_parser("draw", help="draw a scene's pass as a picture")
    draw.add_argument("scene", nargs="?", help="a scene file (TOML) or the name of a built-in one")
    draw.add_argument("-o", "--output", metavar="FILE", help="where to write: .png or .svg")
    draw.add_argument("--axis", choices=("columns", "metres", "seconds"), default="columns")
    draw.add_argument("--theme", choices=("light", "dark"), default="light")
    draw.add_argument("--size", choices=tuple(SIZES), default="1080p")
    draw.add_argument("--json", action="store_true", help="print what was simulated as JSON")
    bench = commands.add_parser("bench", help="measure speed and memory on this machine")
    bench.add_argument("--json", action="store_true", help="print the figures as JSON")
    bench.add_argument("--quick", action="store_true", help="leave out the start-up times")
    return parser


def _serve_options(parser: argparse.ArgumentParser) -> None:
    # no defaults here: a command's own would undo what was said before its name
    unset = argparse.SUPPRESS
    parser.add_argument("--port", type=int, default=unset, help="port to serve on")
    parser.add_argument(
        "--no-browser", action="store_true", default=unset, help="do not open a browser"
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; 0 when done, 2 when the wish could not be met."""
    options = _parser().parse_args(argv)
    from simulator import SettingError

    work = {"draw": _draw, "bench": _bench}.get(options.command, _serve)
    try:
        code = work(options)
        sys.stdout.flush()  # here, where a reader that has gone can still be dealt with
        return code
    except SettingError as error:
        lines = [str(p) for p in error.problems]
        if len(lines) > 1:
            lines.insert(0, f"{len(lines)} things are wrong:")
        print("archwise: " + "\n  ".join(lines), file=sys.stderr)
    except BrokenPipeError:  # whoever read our output has had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        print(f"archwise: {where}{error.strerror or error}", file=sys.stderr)
    except (Refused, ValueError) as error:
        print(f"archwise: {error}", file=sys.stderr)
    except KeyboardInterrupt:
        print("archwise: stopped", file=sys.stderr)
        return 130
    return 2


def _serve(options: argparse.Namespace) -> int:
    from apps.serve import serve

    if options.port is not None and not 1 <= options.port <= 65535:
        raise Refused(f"port must be from 1 to 65535; you gave {options.port}. Try 8472.")
    serve(options.port, browser=not options.no_browser)
    return 0


def scene_named(name: str | None) -> Any:
    """A scene file, or a built-in scene by name; the first built-in one by default."""
    from apps.scenes import SCENES, built_in
    from simulator import Scene

    if name is None:
        return built_in(SCENES[0])
    if name in SCENES and not Path(name).exists():
        return built_in(name)
    if not Path(name).exists():
        known = ", ".join(SCENES)
        raise Refused(f"there is no scene file {name}; built-in scenes are {known}.")
    return Scene.load(name)


def _target(output: str | None) -> Path | None:
    """Check where to write before anything is computed."""
    if output is None:
        return None
    path = Path(output)
    if path.suffix.lower() not in FORMATS:
        raise Refused(
            f"the picture's name must end in .png or .svg; you gave {output}. Try {path.stem}.png."
        )
    if path.is_dir() or not path.parent.is_dir():
        what = "is a folder" if path.is_dir() else "is in a folder that does not exist"
        raise Refused(f"{output} cannot be written: it {what}. Choose another place.")
    return path


def _draw(options: argparse.Namespace) -> int:
    if options.output is None and not options.json:
        raise Refused(
            "draw needs -o FILE (.png or .svg), or --json. Try: archwise draw -o pass.png"
        )
    path = _target(options.output)
    scene = scene_named(options.scene)
    import simulator
    from apps.drawing import buried

    runner = simulator.Runner()

    def progress(text: str) -> None:
        if sys.stderr.isatty():
            print(f"\r\033[Kcomputing {text}", end="", file=sys.stderr, flush=True)

    if not _compiled():
        print("first run: compiling the echo engine, under a minute", file=sys.stderr, flush=True)
    made = runner.run(scene, progress=progress)
    if words := buried(scene):
        print(f"note: {words}", file=sys.stderr)
    if sys.stderr.isatty():
        print("\r\033[K", end="", file=sys.stderr)
    if options.theme == "dark" and scene.receiver.palette == "Shore":
        scene.receiver.palette = "Lantern"  # as the site does: paper colours glare in a dim room
    pictures = simulator.pictures(made, scene.receiver)
    if path is not None:
        from apps.figures import draw_pass, write_still

        figure = draw_pass(
            scene,
            pictures,
            scene.receiver,
            axis=options.axis,
            theme=options.theme,
            size=SIZES[options.size],
        )
        write_still(path, figure)
        if not options.json:
            print(f"wrote {path}")
    if options.json:
        print(json.dumps(summary(scene, made, pictures), indent=2))
    return 0


def _compiled() -> bool:
    """Whether compiled kernels are on disk from an earlier run."""
    from simulator import kernels

    cache = getattr(kernels.patches_fan, "_cache", None)
    folder: Any = getattr(cache, "cache_path", None)
    return bool(folder) and any(Path(folder).glob("kernels.*.nbi"))


def summary(scene: Any, made: Any, pictures: Any) -> dict[str, Any]:
    """What was simulated, as plain values: the scene, each look's axes and facts, each owner."""
    from dataclasses import asdict

    import numpy as np

    import simulator
    from simulator.validity import outside

    looks = {}
    for name, echo in made.looks.items():
        picture = pictures[name]
        owners = [
            {
                "owner": layer.owner,
                "label": layer.label,
                "side": beam.side,
                "contributions": layer.count,
                "pings": [layer.ping, layer.ping + layer.data.shape[0]],
                "peak_db": _peak(layer, beam, picture.compensation),
            }
            for beam in echo.beams
            for layer in beam.layers
        ]
        looks[name] = {
            **echo.about,
            "rows": len(picture.range_m),
            "range_m": [float(picture.range_m[0]), float(picture.range_m[-1])],
            "peak_db": round(float(np.max(picture.level_db)), 2),
            "outside": [asdict(limit) for limit in outside(scene, name)],
            "owners": owners,
        }
    return {
        "archwise": simulator.__version__,
        "simulated": "a teaching image, not a chart; never navigate by it",
        "scene": scene.to_dict(),
        "looks": looks,
        "contributions": made.contributions,
        "seconds": round(made.seconds, 3),
    }


def _peak(layer: Any, beam: Any, rule: str) -> float:
    """Strongest level of a layer alone, dB, with the scene's range compensation."""
    import numpy as np

    from simulator.model import decibels
    from simulator.sounder.receiver import compensation_db

    added = compensation_db(rule, beam.range_m, beam.absorption_db_m)
    rows = slice(layer.row, layer.row + layer.data.shape[1])
    return round(float(np.max(decibels(layer.data) + added[rows])), 2)


def _bench(options: argparse.Namespace) -> int:
    try:
        from apps.bench import bench, table
    except ModuleNotFoundError as error:
        raise Refused(
            f"bench needs {error.name}, which is not installed. Try: pip install {error.name}"
        ) from None
    figures = bench(start_up=not options.quick)
    print(json.dumps(figures, indent=2) if options.json else table(figures))
    return 0


if __name__ == "__main__":
    sys.exit(main())
