"""A network's options are the fields of its frame: read from the frame's dataclass, never listed twice."""

import argparse
import dataclasses
import enum
import re
from collections.abc import Sequence
from types import NoneType, UnionType
from typing import Any, Literal, NamedTuple, Union, get_args, get_origin, get_type_hints

from framesim.cli.parsing import LineParser, nearest, number, quoted, whole_number
from framesim.errors import BadArgument
from framesim.networks import registry
from framesim.networks.network import Network
from framesim.plain import attribute_texts

__all__ = [
    "FrameOption",
    "add_frame_options",
    "frame_from",
    "frame_options",
    "network_parser",
    "octets",
    "split_network",
]


class FrameOption(NamedTuple):
    """One field of a frame as an option.

    Attributes:
        field: the field's name.
        kind: its type, without None.
        optional: None is allowed.
        required: it has no default.
        default: the default, if any.
        about: what it means, from the frame's docstring.
    """

    field: str
    kind: Any
    optional: bool
    required: bool
    default: Any
    about: str

    @property
    def flag(self) -> str:
        """The option as typed."""
        return f"--{self.field.replace('_', '-')}"


def split_network(command: str, arguments: Sequence[str], description: str) -> tuple[Network | None, list[str]]:
    """Take the network's name, which comes first, from a command's words.

    Returns:
        The network and the words after it; None and nothing if help was asked for and has been printed.

    Raises:
        BadArgument: no network, or an unknown one.
    """
    known = ", ".join(registry.names())
    if not arguments:
        raise BadArgument(f"network: missing; expected one of {known} (framesim {command} NETWORK ...)")
    if arguments[0] in ("-h", "--help"):
        parser = LineParser(command, usage=f"framesim {command} NETWORK ...", description=description)
        found = [registry.network(name) for name in registry.names()]
        titles = [f"  {each.name:<10} {each.title}{' (provisional)' if each.provisional else ''}" for each in found]
        parser.epilog = "\n".join(["networks:", *titles, f"\nframesim {command} NETWORK --help explains one."])
        parser.print_help()
        return None, []
    if arguments[0].startswith("-"):
        raise BadArgument(f"{quoted(arguments[0])}: the network comes first (framesim {command} NETWORK ...)")
    return registry.network(arguments[0]), list(arguments[1:])


def network_parser(command: str, network: Network, description: str) -> LineParser:
    """Return the parser of a command for one network, its help saying which standard, and how sure we are."""
    standing = f"provisional: {network.provisional}" if network.provisional else ""
    about = "\n".join(filter(None, [description, f"\n{network.title}: {network.standard}", standing]))
    return LineParser(f"{command} {network.name}", description=about)


def frame_options(frame_type: type) -> tuple[FrameOption, ...]:
    """Return the options of a frame type, in the order of its fields.

    Raises:
        TypeError: a field has a type that no option can express: a mistake in the network's file.
    """
    hints, about = get_type_hints(frame_type), attribute_texts(frame_type)
    options = []
    for field in dataclasses.fields(frame_type):
        if not field.init:
            continue
        kinds = [hints[field.name]]
        if get_origin(kinds[0]) in (Union, UnionType):
            kinds = list(get_args(kinds[0]))
        kind = [kind for kind in kinds if kind is not NoneType]
        if len(kind) != 1 or not _expressible(kind[0]):
            raise TypeError(f"{frame_type.__name__}.{field.name}: no option for type {hints[field.name]}")
        default = field.default_factory() if field.default_factory is not dataclasses.MISSING else field.default
        required = default is dataclasses.MISSING
        options.append(
            FrameOption(
                field=field.name,
                kind=kind[0],
                optional=NoneType in kinds,
                required=required,
                default=None if required else default,
                about=about.get(field.name, ""),
            )
        )
    return tuple(options)


def add_frame_options(parser: argparse.ArgumentParser, frame_type: type) -> None:
    """Give ``parser`` one option for each field of the frame.

    Where the parser has an option of that name already, the field's is called ``--frame-NAME``.
    """
    group = parser.add_argument_group("the frame's fields")
    taken = {flag for action in parser._actions for flag in action.option_strings}
    for option in frame_options(frame_type):
        note = option.about.rstrip(".") or option.field
        if option.required:
            note += " (required)"
        if option.kind is bool:
            group.add_argument(
                _free(option.flag, taken),
                dest=option.field,
                action=argparse.BooleanOptionalAction,
                default=None,
                help=_help_text(f"{note} (default: {'yes' if option.default else 'no'})"),
            )
        else:
            group.add_argument(
                _free(option.flag, taken),
                dest=option.field,
                metavar=_metavar(option.kind),
                default=None,
                help=_help_text(note),
            )


def _free(flag: str, taken: set[str]) -> str:
    return f"--frame-{flag.removeprefix('--')}" if flag in taken else flag


def frame_from(values: argparse.Namespace, frame_type: type) -> Any:
    """Build the frame from what was read.

    Raises:
        BadArgument: a field is missing, cannot be read, or is not allowed by the network.
    """
    given: dict[str, Any] = {}
    for option in frame_options(frame_type):
        value = getattr(values, option.field)
        if value is None:
            if option.required:
                raise BadArgument(f"{option.field}: missing; give {option.flag} {_metavar(option.kind)}")
        elif option.optional and value == "none":
            given[option.field] = None
        else:
            given[option.field] = value if isinstance(value, bool) else _value(option.field, option.kind, value)
    return frame_type(**given)


def _expressible(kind: Any) -> bool:
    if get_origin(kind) is tuple:
        return get_args(kind) == (int, Ellipsis)
    if get_origin(kind) is Literal:
        return all(isinstance(choice, str) for choice in get_args(kind))
    return isinstance(kind, type) and (kind in (bool, int, bytes, str, float) or issubclass(kind, enum.Enum))


def _metavar(kind: Any) -> str:
    if get_origin(kind) is tuple:
        return "NUMBERS"
    if get_origin(kind) is Literal:
        return "|".join(get_args(kind))
    if issubclass(kind, enum.Enum):
        return "|".join(str(member.value) for member in kind)
    return {bytes: "HEX", str: "WORD"}.get(kind, "NUMBER")


def _value(name: str, kind: Any, text: str) -> Any:
    if get_origin(kind) is tuple:
        return tuple(whole_number(name, item) for item in text.split(",")) if text else ()
    if get_origin(kind) is Literal:
        return _chosen(name, {choice: choice for choice in get_args(kind)}, text)
    if issubclass(kind, enum.Enum):
        return _chosen(name, {str(member.value): member for member in kind}, text)
    if kind is int:
        return whole_number(name, text)
    if kind is bytes:
        return octets(name, text)
    if kind is float:
        return number(name, text)
    return text


def _chosen(name: str, choices: dict[str, Any], text: str) -> Any:
    if text not in choices:
        raise BadArgument(f"{name}={quoted(text)}: expected one of {', '.join(choices)}{nearest(text, choices)}")
    return choices[text]


def octets(name: str, text: str) -> bytes:
    """Read hex bytes; ``:``, ``-``, ``_`` and blanks may group them."""
    digits = re.sub(r"[\s:_-]", "", text.removeprefix("0x"))
    wrong = re.search(r"[^0-9a-fA-F]", digits)
    if wrong:
        raise BadArgument(f"{name}={quoted(text)}: {wrong[0]!r} is no hex digit; expected bytes such as 01a2")
    if len(digits) % 2:
        raise BadArgument(f"{name}={quoted(text)}: {len(digits)} hex digits, an odd number; each byte takes two")
    return bytes.fromhex(digits)


def _help_text(text: str) -> str:
    return text.replace("%", "%%")  # argparse would take it for a format
