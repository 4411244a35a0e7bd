"""The view's types, for checking conditions before they are used.

The records of `view.py` become message types, so that the engine's own checker refuses
a misspelt field or a number compared with a word, with its place.  Needs protobuf, and
is therefore used when rules are written or brought by a person, not when shipped ones run.
"""

from __future__ import annotations

import functools
import operator
import types
import typing
from typing import Annotated, Any, Union

from msgspec import Struct, UnsetType

from .condition import ConditionError, _placed
from .view import ELEMENTS, View

SCALARS = {str: "string", int: "int64", bool: "bool"}
WRAPPERS = {str: "StringValue", int: "Int64Value", bool: "BoolValue"}


@functools.cache  # reading them costs a millisecond, and every unknown rule asks
def _hints(record: type[Struct]) -> dict[str, Any]:
    return typing.get_type_hints(record, include_extras=True)


@functools.cache
def field_types(record: type[Struct]) -> dict[str, Any]:
    """Field name → type without `Annotated` and without the absent state."""
    found: dict[str, Any] = {}
    for name, hint in _hints(record).items():
        plain = hint.__origin__ if typing.get_origin(hint) is Annotated else hint
        options = [option for option in _options(plain) if option is not UnsetType]
        found[name] = functools.reduce(operator.or_, options)
    return found


@functools.cache
def field_needs(record: type[Struct], name: str) -> tuple[str, ...]:
    """The evidence fields that a fact is made of."""
    for mark in getattr(_hints(record)[name], "__metadata__", ()):
        if "needs" in (mark.extra or {}):
            return tuple(mark.extra["needs"])
    return ()


@functools.cache
def record_at(path: str, each: str | None = None) -> tuple[type[Struct], str] | None:
    """The record and field that a dotted path ends in; None when there is no such path."""
    parts = path.split(".")
    record: Any = View
    if each is not None and parts[0] == ELEMENTS[each][0]:
        record, parts = ELEMENTS[each][1], parts[1:]
    for index, part in enumerate(parts):
        fields = field_types(record)
        if part not in fields:
            return None
        if index == len(parts) - 1:
            return record, part
        record = _record_of(fields[part])
        if record is None:
            return None
    return None


def check(text: str, each: str | None = None) -> None:
    """Type-check a condition.  Raises `ConditionError` with the place."""
    try:
        result = _environment(each).compile(text).return_type()
    except RuntimeError as error:
        raise _placed(error) from None
    if result.name() not in ("BOOL", "bool_wrapper"):
        raise ConditionError(f"the condition gives {result.name().lower()}, and must give true or false")


def _options(hint: Any) -> tuple[Any, ...]:
    if typing.get_origin(hint) in (Union, types.UnionType):
        return typing.get_args(hint)
    return (hint,)


def _record_of(hint: Any) -> type[Struct] | None:
    if typing.get_origin(hint) is list:
        hint = typing.get_args(hint)[0]
    return hint if isinstance(hint, type) and issubclass(hint, Struct) else None


@functools.cache
def _environment(each: str | None) -> Any:
    from cel_expr_python import cel

    pool = _pool()
    variables = {}
    for name, hint in field_types(View).items():
        if record := _record_of(hint):
            kind = cel.Type(f"radiocheck.{record.__name__}")
            variables[name] = cel.Type.List(kind) if typing.get_origin(hint) is list else kind
        else:
            variables[name] = cel.Type.STRING
    if each is not None:
        element, record = ELEMENTS[each]
        variables[element] = cel.Type(f"radiocheck.{record.__name__}")
    return cel.NewEnv(descriptor_pool=pool, variables=variables)


@functools.cache
def _pool() -> Any:
    from google.protobuf import descriptor_pb2, descriptor_pool, wrappers_pb2

    field = descriptor_pb2.FieldDescriptorProto
    file = descriptor_pb2.FileDescriptorProto(name="view.proto", package="radiocheck", syntax="proto3")
    file.dependency.append("google/protobuf/wrappers.proto")
    for record in _records(View):
        message = file.message_type.add(name=record.__name__)
        for number, (name, hint) in enumerate(field_types(record).items(), 1):
            entry = message.field.add(name=name, number=number, label=field.LABEL_OPTIONAL)
            if typing.get_origin(hint) is list:
                entry.label = field.LABEL_REPEATED
                hint = typing.get_args(hint)[0]
            options = _options(hint)
            plain = next(option for option in options if option is not type(None))
            if issubclass(plain, Struct):
                entry.type, entry.type_name = field.TYPE_MESSAGE, f".radiocheck.{plain.__name__}"
            elif type(None) in options:
                entry.type, entry.type_name = field.TYPE_MESSAGE, f".google.protobuf.{WRAPPERS[plain]}"
            else:
                entry.type = getattr(field, f"TYPE_{SCALARS[plain].upper()}")
    pool = descriptor_pool.DescriptorPool()
    pool.AddSerializedFile(wrappers_pb2.DESCRIPTOR.serialized_pb)
    pool.AddSerializedFile(file.SerializeToString())
    return pool


def _records(record: type[Struct]) -> list[type[Struct]]:
    """The record and all that it is made of, each once."""
    found = [record]
    for hint in field_types(record).values():
        if inner := _record_of(hint):
            found.extend(item for item in _records(inner) if item not in found)
    return found
