#!/usr/bin/env python3
"""Run programs by turns and print the least processor time each took, in seconds.

usage: cpu_time.py TURNS PROGRAM [ARGUMENT ...] [--or PROGRAM [ARGUMENT ...]] ...

The figure is user and system time of the program and of the processes it waited for (getrusage(2),
RUSAGE_CHILDREN). Other work on the machine makes a run longer and never shorter, so the least of
many turns is the figure; the programs take turns, so that a busy minute falls on all of them.

Prints one line a program: user, system, both, and the ratio to the first.
Exit status: 0; 1 when a program fails; 2 for wrong usage.
"""

import resource
import subprocess
import sys


def run(arguments):
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(arguments, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode != 0:
        sys.exit(f"{' '.join(arguments)}: exit code {done.returncode}\n{done.stderr.decode()}")
    return after.ru_utime - before.ru_utime, after.ru_stime - before.ru_stime


def main(arguments):
    if len(arguments) < 3 or not arguments[1].isdigit() or int(arguments[1]) < 1:
        print(__doc__.split("\n\n")[1], file=sys.stderr)
        return 2
    programs = [[]]
    for argument in arguments[2:]:
        if argument == "--or":
            programs.append([])
        else:
            programs[-1].append(argument)
    if not all(programs):
        print(__doc__.split("\n\n")[1], file=sys.stderr)
        return 2
    turns = [[run(program) for program in programs] for _ in range(int(arguments[1]))]
    best = [min((turn[nth] for turn in turns), key=sum) for nth in range(len(programs))]
    for program, (user, system) in zip(programs, best):
        ratio = (user + system) / sum(best[0])
        print(f"{user:.3f} + {system:.3f} = {user + system:.3f} s, {ratio:.2f} x: {' '.join(program)}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv))
