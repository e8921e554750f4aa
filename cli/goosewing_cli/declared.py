"""How a command is declared: a function, and beside each parameter's type how it is asked for.

::

    @command(help="What a forecast holds.")
    def weather(
        file: Annotated[Path, argument("FILE", help="GRIB, NetCDF or CSV.")],
        json: Annotated[bool, option("--json", help="Print one JSON document.")] = False,
    ) -> None: ...

Click does the rest. What makes commands of annotated functions by itself checks its values with
a library of its own, whose import cost a fifth of a whole plan.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from importlib import import_module
from inspect import Parameter, signature
from pathlib import Path
from types import UnionType
from typing import Any, ClassVar, NamedTuple, Union, get_args, get_origin, get_type_hints

import click


class Asked(NamedTuple):
    """How a parameter is asked for: what makes it, its names on the command line, its words."""

    kind: type[click.Parameter]
    names: tuple[str, ...]
    words: dict[str, Any]


def option(*names: str, help: str, metavar: str | None = None) -> Asked:  # noqa: A002 - Click's word
    """Ask for a value by name; a list's option may be repeated, a bool is a flag."""
    return Asked(click.Option, names, {"help": help, "metavar": metavar, "show_default": True})


def argument(metavar: str, *, help: str) -> Asked:  # noqa: A002 - Click's word
    """Ask for a value by its place; a list takes all that are left."""
    return Asked(click.Argument, (), {"help": help, "metavar": metavar})


def command(
    *,
    help: str,  # noqa: A002 - Click's word
    kind: type[click.Command] = click.Command,
) -> Callable[[Callable[..., None]], click.Command]:
    """Make a command of a function whose parameters are annotated with how they are asked for."""

    def made(function: Callable[..., None]) -> click.Command:
        hints = get_type_hints(function, include_extras=True)
        params = [
            _param(each, *get_args(hints[name])[:2])
            for name, each in signature(function).parameters.items()
        ]
        return kind(function.__name__, callback=function, params=params, help=help)

    return made


def _param(declared: Parameter, kind: Any, asked: Asked) -> click.Parameter:
    """Make Click's parameter of a function's."""
    attributes = {**asked.words, **_kind(asked.kind, *_one_or_many(kind))}
    if declared.default is Parameter.empty:
        attributes["required"] = True
    elif declared.default is not None:
        default = declared.default
        attributes["default"] = default.value if isinstance(default, StrEnum) else default
    elif asked.kind is click.Argument:
        attributes |= {"required": False, "metavar": f"[{asked.words['metavar']}]"}
    return asked.kind([*asked.names, declared.name], **attributes)


def _one_or_many(kind: Any) -> tuple[type, bool]:
    """Return of what type a value is, and whether there may be several."""
    if get_origin(kind) in (Union, UnionType):
        (kind,) = (each for each in get_args(kind) if each is not type(None))
    return (get_args(kind)[0], True) if get_origin(kind) is list else (kind, False)


def _kind(asked: type[click.Parameter], kind: type, many: bool) -> dict[str, Any]:
    """Say in Click's terms what a value is."""
    if kind is bool:
        return {"is_flag": True}
    if not many:
        return {"type": _type(kind)}
    several = {"nargs": -1} if asked is click.Argument else {"multiple": True}
    return {"type": _type(kind), "callback": _listed, **several}


def _type(kind: type) -> click.ParamType[Any] | type:
    if issubclass(kind, Path):
        return _Name(readable=False, path_type=Path)
    if issubclass(kind, StrEnum):
        return _OneOf(kind)
    if issubclass(kind, int | float):
        return _Number(kind)
    return kind


def _listed(_: click.Context, __: click.Parameter, values: tuple[Any, ...]) -> list[Any] | None:
    return list(values) or None


class _Name(click.Path):
    """A file's or a folder's name, of which its reader or writer has more to say."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        # Without a name, as by a shell's variable that is not set, the folder she is in was meant.
        if value == "":
            self.fail("expected a name, got ''.", param, ctx)
        return super().convert(value, param, ctx)


class _OneOf(click.Choice[StrEnum]):
    """One of an enumeration's values."""

    def normalize_choice(self, choice: Any, ctx: click.Context | None) -> str:  # noqa: ARG002
        return str(choice)


class _Number(click.ParamType[float]):
    """A number, refused in words that are no programmer's."""

    name = "number"
    WORDS: ClassVar[dict[type, str]] = {float: "a number", int: "a whole number"}

    def __init__(self, kind: type[float]) -> None:
        self.kind = kind

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        try:
            return self.kind(value)
        except ValueError:
            self.fail(f"{value!r} is not {self.WORDS[self.kind]}.", param, ctx)


class Commands(click.Group):
    """A command with commands below it, each loaded when it is called or listed.

    Parameters
    ----------
    name, help : str
    modules : mapping of str to str
        Where each command stands, under its own name.
    params : list of click.Parameter
        Of the group itself.
    """

    def __init__(
        self,
        name: str,
        modules: Mapping[str, str],
        *,
        help: str,  # noqa: A002 - Click's word
        params: list[click.Parameter] | None = None,
        context_settings: dict[str, Any] | None = None,
    ) -> None:
        super().__init__(
            name, help=help, params=params, context_settings=context_settings,
            callback=_help_if_alone, invoke_without_command=True,
        )  # fmt: skip
        self.modules = modules

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return all names in the order in which help lists them."""
        return list(self.modules)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load the command of that name; of an unknown name all, so that Click can suggest one."""
        for name in [cmd_name] if cmd_name in self.modules else self.modules:
            self.commands[name] = getattr(import_module(self.modules[name]), name)
        return super().get_command(ctx, cmd_name)


@click.pass_context
def _help_if_alone(context: click.Context) -> None:
    if context.invoked_subcommand is None:
        click.echo(context.get_help())
