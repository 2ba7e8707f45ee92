"""What OCC throws becomes a refusal in words; other errors stay what they are."""

import pytest

from shellgen.errors import KernelError
from shellgen.solid.brep.failing import in_words


def test_an_exception_of_the_kernel_is_told_in_words():
    from OCP.GeomAPI import GeomAPI_ProjectPointOnCurve

    with pytest.raises(KernelError, match="could not finish"), in_words():
        GeomAPI_ProjectPointOnCurve().LowerDistanceParameter()


def test_other_errors_pass():
    with pytest.raises(ZeroDivisionError), in_words():
        _ = 1 / 0
