#!/usr/bin/env python3
"""Run a program and print the most memory it held, in KiB, as the last line.

usage: peak_memory.py PROGRAM [ARGUMENT ...]

The figure is ru_maxrss of wait4(2) (getrusage(2): kibibytes on Linux). The kernel counts what the
process held before it became PROGRAM too, so the figure is never less than this script's own
memory, about 10 MiB: good for an upper bound, not for comparing small figures.

Exit status: that of PROGRAM; 2 for wrong usage.
"""

import os
import sys


def main(arguments):
    if len(arguments) < 2:
        print(__doc__.split("\n\n")[1], file=sys.stderr)
        return 2
    # The program's own answer must not stand before the figure.
    to_stderr = [(os.POSIX_SPAWN_DUP2, 2, 1)]
    process = os.posix_spawnp(arguments[1], arguments[1:], os.environ, file_actions=to_stderr)
    _, status, usage = os.wait4(process, 0)
    print(usage.ru_maxrss)
    return os.waitstatus_to_exitcode(status)


if __name__ == "__main__":
    sys.exit(main(sys.argv))
