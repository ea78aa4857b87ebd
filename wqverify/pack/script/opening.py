"""Check an audit pack without wqverify: run it in the folder of the pack, `python -I verify_chains.py`.

It needs Python 3.8 or newer and nothing else, changes nothing and asks no network. It recomputes every
chain of the record book from its lines, compares the heads, the PDFs and the other files of the pack, and
says in plain sentences what holds and what does not. Heads that were kept outside the plant's computer may
be named as well: `python -I verify_chains.py L1:94:0a1b...`. Exit code 0: all holds; 1: something does not.

It is one file, so that it can be read, kept and run by itself: a copy of your own may be laid in its place.
"""

# No "from __future__": that too is looked for beside this script first. What Python 3.8 cannot run is quoted.
import sys

if __name__ == "__main__" and not (sys.flags.isolated or getattr(sys.flags, "safe_path", False)):
    BESIDE = {sys.path[0], "", "."}  # a csv.py in the pack would be run in place of Python's own
    sys.path[:] = [each for each in sys.path if each not in BESIDE]
