"""Reads a table to typed columns with pandas, as package logfile does.

Usage: /usr/bin/python3 pandas_peer.py csv|xlsx FILE [READS]
(Debian packages python3-pandas, python3-openpyxl)

Prints the median and the least processor time of the reads (five if not
said), eight columns to float64 and one to datetime64, and the peak memory of
the process. Starting Python and importing pandas is not counted. Of CSV the
faster of the two ways pandas offers for RFC 3339 times is taken: the column
parsed by read_csv with the format inferred once, or read as text and converted.
"""
import resource
import statistics
import sys
import time

import pandas as pd


def read(name):
    return pd.read_csv(name, parse_dates=["time"], infer_datetime_format=True)


def read_then_convert(name):
    t = pd.read_csv(name)
    t["time"] = pd.to_datetime(t["time"], cache=False)
    return t


def median(f, name, reads):
    spent, cpu = [], []
    for _ in range(reads):
        start, used = time.perf_counter(), time.process_time()
        t = f(name)
        spent.append(time.perf_counter() - start)
        cpu.append(time.process_time() - used)
        assert str(t.dtypes["time"]).startswith("datetime64"), t.dtypes
        assert (t.dtypes.iloc[1:] == "float64").all(), t.dtypes
    return statistics.median(spent) * 1e3, min(cpu) * 1e3


kind, name = sys.argv[1:3]
reads = int(sys.argv[3]) if len(sys.argv) > 3 else 5
ways = {"csv": (read, read_then_convert), "xlsx": (pd.read_excel,)}[kind]
ms, cpu = min(median(f, name, reads) for f in ways)
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(f"pandas {pd.__version__} median {ms:.1f} ms least cpu {cpu:.1f} ms peak {peak:.0f} MB")
