"""Reads a CSV as the benchmark of package logfile does, with pandas.

Usage: /usr/bin/python3 pandas_peer.py FILE   (Debian package python3-pandas)

Prints the median of five reads to typed columns (eight float64, one
datetime64) and the peak memory of the process. The fastest way pandas offers
for RFC 3339 times is taken: the column is read as text and converted with
the format inferred once.
"""
import resource
import statistics
import sys
import time

import pandas as pd


def read(name):
    return pd.read_csv(name, parse_dates=["time"], infer_datetime_format=True)


def read_cached(name):
    t = pd.read_csv(name)
    t["time"] = pd.to_datetime(t["time"], cache=False)
    return t


def median(f, name):
    spent, cpu = [], []
    for _ in range(5):
        start, used = time.perf_counter(), time.process_time()
        t = f(name)
        spent.append(time.perf_counter() - start)
        cpu.append(time.process_time() - used)
        assert str(t.dtypes["time"]).startswith("datetime64"), t.dtypes
        assert (t.dtypes.iloc[1:] == "float64").all(), t.dtypes
    return statistics.median(spent) * 1e3, min(cpu) * 1e3


ms, cpu = min(median(f, sys.argv[1]) for f in (read, read_cached))
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(f"pandas {pd.__version__} median {ms:.1f} ms least cpu {cpu:.1f} ms peak {peak:.0f} MB")
