"""Four numbers at a time, for the innermost compiled loops.

The compiler turns a plain loop over a handful of corners into one number after another,
with a branch for each. Here is a type of four float64 that processors hold in one register
(two where registers are short), so that four edges or four boxes are done at once. Each of
the four gives bit for bit what a single number would. Only within compiled loops; places in
arrays are not checked and must not be negative.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from typing import Any

import numpy as np
from llvmlite import ir
from numba.core import types
from numba.extending import intrinsic, models, overload, register_model

from nest.compiled import COMPILES

LANES = 4
_DOUBLE = ir.DoubleType()
_FOUR = ir.VectorType(_DOUBLE, LANES)
_INT = ir.IntType(32)


class Four(types.Type):
    """Four float64, as a type of the compiler's."""

    def __init__(self) -> None:
        super().__init__(name="Four")


FOUR = Four()


@register_model(Four)
class _FourModel(models.PrimitiveModel):
    def __init__(self, manager, kind):
        super().__init__(manager, kind, _FOUR)


def _compiled(plain: Callable[..., Any]) -> Callable[..., Any]:
    """The decorated writes what is compiled in place of a plain function."""
    return lambda made: intrinsic(made) if COMPILES else plain


def _place(context, builder, kind, array, index):
    data = context.make_array(kind)(context, builder, array).data
    return builder.gep(data, [index], inbounds=True)


def _shuffled(builder, value, order):
    mask = ir.Constant(ir.VectorType(_INT, len(order)), order)
    return builder.shuffle_vector(value, ir.Constant(value.type, ir.Undefined), mask)


@_compiled(lambda array, index: array[index])
def at(typing, array, index):
    """The number at a place of a flat array."""

    def code(context, builder, signature, args):
        return builder.load(_place(context, builder, signature.args[0], *args))

    return array.dtype(array, types.int64), code


@_compiled(lambda array, index: array[index : index + LANES].copy())
def four(typing, array, index):
    """The four numbers from a place of a flat array on."""

    def code(context, builder, signature, args):
        place = _place(context, builder, signature.args[0], *args)
        value = builder.load(builder.bitcast(place, _FOUR.as_pointer()))
        value.align = 8
        return value

    return FOUR(array, types.int64), code


@_compiled(lambda array, index, value: array.__setitem__(slice(index, index + LANES), value))
def store(typing, array, index, value):
    """Write four numbers from a place of a flat array on."""

    def code(context, builder, signature, args):
        place = _place(context, builder, signature.args[0], args[0], args[1])
        builder.store(args[2], builder.bitcast(place, _FOUR.as_pointer())).align = 8
        return context.get_dummy_value()

    return types.void(array, types.int64, FOUR), code


@_compiled(lambda number: np.full(LANES, number))
def same(typing, number):
    """Four times the same number."""

    def code(context, builder, signature, args):
        one = builder.insert_element(ir.Constant(_FOUR, ir.Undefined), args[0], _INT(0))
        return _shuffled(builder, one, [0] * LANES)

    return FOUR(types.float64), code


def _of_two(operation, plain):
    """A function that makes four numbers of two fours."""

    @_compiled(plain)
    def made(typing, a, b):
        def code(context, builder, signature, args):
            return operation(builder, *args)

        return FOUR(FOUR, FOUR), code

    return made


def _choose(sign):
    def operation(builder, a, b):
        return builder.select(builder.fcmp_ordered(sign, a, b), a, b)

    return operation


lower = _of_two(_choose("<"), lambda a, b: np.where(a < b, a, b))  # the lower of each two
higher = _of_two(_choose(">"), lambda a, b: np.where(a > b, a, b))  # the higher of each two


def _operator(sign, made):
    @overload(sign)
    def with_fours(a, b):
        if isinstance(a, Four) and isinstance(b, Four):
            return lambda a, b: made(a, b)
        if isinstance(a, Four) and isinstance(b, types.Float):
            return lambda a, b: made(a, same(b))
        if isinstance(a, types.Float) and isinstance(b, Four):
            return lambda a, b: made(same(a), b)
        return None


_operator(operator.add, _of_two(ir.IRBuilder.fadd, operator.add))
_operator(operator.sub, _of_two(ir.IRBuilder.fsub, operator.sub))
_operator(operator.mul, _of_two(ir.IRBuilder.fmul, operator.mul))


def _of_all(sign, plain):
    """A function that picks one of four numbers."""
    choose = _choose(sign)

    @_compiled(plain)
    def made(typing, value):
        def code(context, builder, signature, args):
            half = choose(builder, args[0], _shuffled(builder, args[0], [2, 3, 2, 3]))
            one = choose(builder, half, _shuffled(builder, half, [1, 1, 1, 1]))
            return builder.extract_element(one, _INT(0))

        return types.float64(FOUR), code

    return made


lowest = _of_all("<", np.min)  # the lowest of four
highest = _of_all(">", np.max)  # the highest of four


@_compiled(lambda a, b: int(np.packbits(a < b, bitorder="little")[0]))
def less(typing, a, b):
    """Where a < b, as the lowest four bits of an integer."""

    def code(context, builder, signature, args):
        bits = builder.bitcast(builder.fcmp_ordered("<", *args), ir.IntType(LANES))
        return builder.zext(bits, ir.IntType(64))

    return types.int64(FOUR, FOUR), code


@_compiled(lambda bits: (bits & -bits).bit_length() - 1)
def next_of(typing, bits):
    """Which the lowest of some bits is, from 0 on; ``bits & (bits - 1)`` are the others."""

    def code(context, builder, signature, args):
        return builder.cttz(args[0], ir.Constant(ir.IntType(1), 1))

    return types.int64(types.int64), code
