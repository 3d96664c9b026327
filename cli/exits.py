"""Exit codes, each for a situation in which a script should do something else."""

#: Done.
DONE = 0
#: An unforeseen failure: a fault of this program, or of the machine (a full disk, a folder that may not be written).
FAILED = 1
#: Bad input or usage: nothing was done; the message says what to change.
BAD_INPUT = 2
#: Done, and the output is whole, but at least one photo gave no reading (its records say why), or `check` found damage.
PARTIAL = 3
#: Stopped from the keyboard; what was done so far is kept.
STOPPED = 130

EPILOG = (
    "Exit codes: 0 done; 1 this program failed, or the machine (a full disk, a folder that may not be written); 2 bad "
    "input or usage; 3 done, but a photo gave no reading, or `check` "
    "found damage; 130 stopped from the keyboard."
)
