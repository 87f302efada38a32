"""Sixteen numbers worked side by side in compiled code: one lane for each member of a block.

The compiler is asked for vectors outright, rather than left to find them in a loop. So every lane runs the
very same instructions whichever members stand beside it, and a member's answer does not depend, to the last
bit, on its company. Use only inside functions compiled by numba.
"""

import inspect
import operator
import sys
import zlib
from collections.abc import Callable
from types import ModuleType
from typing import Any

from llvmlite import ir  # type: ignore[import-untyped]
from numba import njit, types
from numba.core import extending
from numba.core.extending import models, overload, register_model

LANES = 16

intrinsic: Any = extending.intrinsic  # its own type would count the compiler's context as an argument

_VECTOR = ir.VectorType(ir.DoubleType(), LANES)
_INDEX = ir.VectorType(ir.IntType(32), LANES)


# No licence to fuse a product and a sum: whether the compiler takes it depends on where a function is
# compiled, and then a process that compiled the code and one that loaded it would differ in the last bit.
# Measured, that licence was worth one part in seven.
_OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy", "fastmath": False}


def compiled(function: Callable[..., Any]) -> Any:
    """Compile on first use, to run outside the interpreter's lock; a part of something larger."""
    return njit(**_OPTIONS)(function)


def stamp_of(*modules: ModuleType) -> int:
    """A number for the text of these modules and of this one: another text, very likely another number."""
    texts = [inspect.getsource(module) for module in (*modules, sys.modules[__name__])]
    return zlib.crc32("".join(texts).encode())


def kept(function: Callable[..., Any]) -> Any:
    """Compile, and keep the machine code on disk for the next process, where a folder allows it.

    What was kept is found again by the date of the function's own file and by the values it encloses. What
    draws on other files must enclose their `stamp_of`, or yesterday's constants would run.
    """
    try:
        return njit(cache=True, **_OPTIONS)(function)
    except RuntimeError:  # numba found no folder it may write to: compile in this process only
        return njit(**_OPTIONS)(function)


class Lanes(types.Type):
    """The compiler's name for one vector of lanes."""

    def __init__(self) -> None:
        super().__init__(name=f"Lanes{LANES}")


lanes_type = Lanes()


@register_model(Lanes)
class _LanesModel(models.PrimitiveModel):
    def __init__(self, manager: Any, of_type: Any) -> None:
        super().__init__(manager, of_type, _VECTOR)


def _spread(builder: Any, value: Any) -> Any:
    first = builder.insert_element(ir.Constant(_VECTOR, ir.Undefined), value, ir.Constant(ir.IntType(32), 0))
    return builder.shuffle_vector(first, ir.Constant(_VECTOR, ir.Undefined), ir.Constant(_INDEX, [0] * LANES))


def _vectors(builder: Any, signature: Any, values: Any) -> list[Any]:
    return [
        value if isinstance(of_type, Lanes) else _spread(builder, value)
        for of_type, value in zip(signature.args, values, strict=True)
    ]


def _address(context: Any, builder: Any, signature: Any, values: Any) -> Any:
    array = context.make_array(signature.args[0])(context, builder, values[0])
    at = context.cast(builder, values[1], signature.args[1], types.intp)
    return builder.gep(array.data, [at])


@intrinsic
def load(typing_context: Any, array: Any, at: Any) -> Any:
    """Sixteen neighbouring values of a flat float64 array, from index `at`."""

    def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        address = builder.bitcast(_address(context, builder, signature, values), _VECTOR.as_pointer())
        vector = builder.load(address)
        vector.align = 8
        return vector

    return lanes_type(array, at), generate


@intrinsic
def store(typing_context: Any, array: Any, at: Any, vector: Any) -> Any:
    """Write the lanes into a flat float64 array, from index `at`."""

    def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        address = builder.bitcast(_address(context, builder, signature, values), _VECTOR.as_pointer())
        builder.store(values[2], address).align = 8
        return context.get_dummy_value()

    return types.void(array, at, vector), generate


@intrinsic
def spread(typing_context: Any, value: Any) -> Any:
    """The same number in every lane."""

    def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        return _spread(builder, context.cast(builder, values[0], signature.args[0], types.float64))

    return lanes_type(value), generate


@intrinsic
def gather(typing_context: Any, array: Any, offsets: Any, first: Any, field: Any) -> Any:
    """`array[offsets[first + lane] + field]` in each lane; `offsets` is a flat int64 array."""

    def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        source = context.make_array(signature.args[0])(context, builder, values[0])
        places = context.make_array(signature.args[1])(context, builder, values[1])
        start = context.cast(builder, values[2], signature.args[2], types.intp)
        add = context.cast(builder, values[3], signature.args[3], types.intp)
        vector = ir.Constant(_VECTOR, ir.Undefined)
        for lane in range(LANES):
            here = builder.add(start, ir.Constant(start.type, lane))
            at = builder.add(builder.load(builder.gep(places.data, [here])), add)
            value = builder.load(builder.gep(source.data, [at]))
            vector = builder.insert_element(vector, value, ir.Constant(ir.IntType(32), lane))
        return vector

    return lanes_type(array, offsets, first, field), generate


@intrinsic
def square_root(typing_context: Any, vector: Any) -> Any:
    """Square root in each lane."""

    def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        name = f"llvm.sqrt.v{LANES}f64"
        declared = builder.module.globals.get(name)
        if declared is None:
            declared = ir.Function(builder.module, ir.FunctionType(_VECTOR, [_VECTOR]), name=name)
        return builder.call(declared, [values[0]])

    return lanes_type(vector), generate


def _chosen(comparison: str) -> Any:
    @intrinsic
    def pick(typing_context: Any, left: Any, right: Any, if_so: Any, if_not: Any) -> Any:
        def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:
            a, b, yes, no = _vectors(builder, signature, values)
            return builder.select(builder.fcmp_ordered(comparison, a, b), yes, no)

        return lanes_type(left, right, if_so, if_not), generate

    return pick


where_less = _chosen("<")
"""`if_so` in the lanes where left < right, `if_not` elsewhere."""


def _smaller_or_larger(comparison: str) -> Any:
    @intrinsic
    def pick(typing_context: Any, left: Any, right: Any) -> Any:
        def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:
            a, b = _vectors(builder, signature, values)
            return builder.select(builder.fcmp_ordered(comparison, a, b), a, b)

        return lanes_type(left, right), generate

    return pick


lower, upper = _smaller_or_larger("<"), _smaller_or_larger(">")
"""The lower and the higher of two values in each lane."""


def _teach(operation: Callable[[Any, Any], Any], instruction: str) -> None:
    """Let the compiler use +, -, * and / between lanes, and between lanes and a plain number."""

    @intrinsic
    def apply(typing_context: Any, left: Any, right: Any) -> Any:
        def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:
            a, b = _vectors(builder, signature, values)
            return getattr(builder, instruction)(a, b)

        return lanes_type(left, right), generate

    @overload(operation, strict=False)  # strict would compare annotations too
    def chosen(left: Any, right: Any) -> Any:
        kinds = (left, right)
        if any(isinstance(kind, Lanes) for kind in kinds) and all(
            isinstance(kind, Lanes) or kind == types.float64 for kind in kinds
        ):
            return lambda left, right: apply(left, right)
        return None


_teach(operator.add, "fadd")
_teach(operator.sub, "fsub")
_teach(operator.mul, "fmul")
_teach(operator.truediv, "fdiv")
