"""Makes ``can_fd_original.json``: the original CAN FD format of 2012, by the functions of ``make_can_fd.py``.

Source: CAN with Flexible Data-Rate, Specification 1.0 (2012): no stuff count, register preset 0 (polynomials read,
the rest from memory).
"""

from make_can_fd import fill
from writing import VectorFile

if __name__ == "__main__":
    fill(VectorFile("can-fd-original"), iso=False)
