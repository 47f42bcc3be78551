#!/usr/bin/env python3
"""Run a program on a system that offers no memory files: memfd_create(2) fails with ENOSYS in it.

usage: no_memory_files.py PROGRAM [ARGUMENT ...]

A filter of system calls (seccomp(2), SECCOMP_MODE_FILTER) stays in place for the program and all it
starts. Numbers of the call: <asm/unistd.h> of Linux, of the filter: <linux/seccomp.h>, <linux/filter.h>.

Exit status: that of PROGRAM; 1 when the filter cannot be set or does nothing; 2 for wrong usage.
"""

import ctypes
import errno
import os
import platform
import struct
import sys

MEMFD_CREATE = {"x86_64": 319, "aarch64": 279, "riscv64": 279, "ppc64le": 360, "s390x": 350}
PR_SET_SECCOMP, PR_SET_NO_NEW_PRIVS, SECCOMP_MODE_FILTER = 22, 38, 2
LOAD, JUMP_IF_EQUAL, RETURN = 0x20, 0x15, 0x06
ALLOW, FAIL = 0x7FFF0000, 0x00050000


class Program(ctypes.Structure):
    """struct sock_fprog"""

    _fields_ = [("length", ctypes.c_ushort), ("filter", ctypes.c_char_p)]


def refuse(call):
    """From now on the system call of this number fails with ENOSYS."""
    steps = [(LOAD, 0, 0, 0), (JUMP_IF_EQUAL, 0, 1, call), (RETURN, 0, 0, FAIL | errno.ENOSYS), (RETURN, 0, 0, ALLOW)]
    program = Program(len(steps), b"".join(struct.pack("=HBBI", *step) for step in steps))
    prctl = ctypes.CDLL(None, use_errno=True).prctl
    for words in ((PR_SET_NO_NEW_PRIVS, 1, 0), (PR_SET_SECCOMP, SECCOMP_MODE_FILTER, ctypes.byref(program))):
        if prctl(*words, 0, 0) != 0:
            sys.exit(f"the filter cannot be set: {os.strerror(ctypes.get_errno())}")


def main(arguments):
    if len(arguments) < 2:
        print(__doc__.split("\n\n")[1], file=sys.stderr)
        return 2
    call = MEMFD_CREATE.get(platform.machine())
    if call is None:
        sys.exit(f"found the machine {platform.machine()}, wanted one of {', '.join(MEMFD_CREATE)}")
    refuse(call)
    try:
        os.memfd_create("found")
    except OSError as error:
        if error.errno == errno.ENOSYS:
            os.execvp(arguments[1], arguments[1:])
    sys.exit("a memory file was made, wanted ENOSYS")


if __name__ == "__main__":
    sys.exit(main(sys.argv))
