"""What kernels call on a card alone; elsewhere division and powers are the usual, and ``new_day``
is idle.
"""

from __future__ import annotations

from math import exp, log
from typing import Any


def natives() -> dict[str, Any]:
    """The functions by name.

    ``quotient(a, b)`` is a / b, rounded as usual. The compiler's own division first asks whether
    its numbers are out of the ordinary; nothing around it can be mixed with that, and a run waits.
    Here what is out of the ordinary (a divisor of 0 or without end, a result too large) is chosen
    at the end. For numbers from 1e-290 to 4e307, and 0. ``quotient_of(a, b, inverse)`` is a / b
    where 1 / b is known.

    ``power(a, b)`` is a**b for a from 0 on, above 0 where b is 0 or less. It goes by logarithm: to
    some last bits, in a third of the steps, and that of a number that stays is taken once.

    ``new_day()`` has what is near read again.
    """
    from llvmlite import ir
    from numba import cuda as typed_cuda
    from numba.cuda import types as typed_types
    from numba.cuda.extending import intrinsic

    cuda: Any = typed_cuda
    types: Any = typed_types
    double = ir.DoubleType()

    @intrinsic
    def rough_inverse(context: Any, value: Any) -> Any:
        def build(target: Any, builder: Any, signature: Any, given: Any) -> Any:
            kind = ir.FunctionType(double, [double])
            return builder.call(ir.InlineAsm(kind, "rcp.approx.ftz.f64 $0, $1;", "=d,d"), given)

        return types.float64(types.float64), build

    @cuda.jit(device=True, forceinline=True)
    def refined(a, b, inverse, otherwise):  # type: ignore[no-untyped-def]
        result = a * inverse
        result = cuda.fma(cuda.fma(-b, result, a), inverse, result)
        return result if result == result else otherwise

    @cuda.jit(device=True, forceinline=True)
    def quotient_of(a, b, inverse):  # type: ignore[no-untyped-def]
        return refined(a, b, inverse, a * inverse)

    @cuda.jit(device=True, forceinline=True)
    def quotient(a, b):  # type: ignore[no-untyped-def]
        rough = rough_inverse(b)
        inverse = cuda.fma(rough, cuda.fma(-b, rough, 1.0), rough)
        inverse = cuda.fma(inverse, cuda.fma(-b, inverse, 1.0), inverse)
        return refined(a, b, inverse, a * rough)

    @cuda.jit(device=True, forceinline=True)
    def power(a, b):  # type: ignore[no-untyped-def]
        return exp(b * log(a))

    @cuda.jit(device=True, forceinline=True)
    def new_day():  # type: ignore[no-untyped-def]
        cuda.threadfence_block()

    return {
        "quotient": quotient, "quotient_of": quotient_of, "power": power, "new_day": new_day,
    }  # fmt: skip
