"""Reads a stored trace of version 1 by FORMAT.md alone, to check the Go code.

Usage: python3 read_v1.py FILE

Prints the samples, the missing ones, and sums over all times and counts.
Chunks of encoding 2 need the zstd command.
"""
import json
import struct
import subprocess
import sys


def crc32c(data):
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x82F63B78 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


assert crc32c(bytes(32)) == 0x8A9136AA  # RFC 3720, appendix B.4


class Bytes:
    def __init__(self, data):
        self.data, self.at = data, 0

    def take(self, n):
        part = self.data[self.at:self.at + n]
        assert len(part) == n
        self.at += n
        return part

    def u8(self):
        return self.take(1)[0]

    def uv(self):
        value = shift = 0
        while True:
            byte = self.u8()
            value |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                return value

    def sv(self):
        value = self.uv()
        return value >> 1 if value & 1 == 0 else -(value + 1 >> 1)

    def residuals(self, n):
        out = []
        while len(out) < n:
            part = min(128, n - len(out))
            k = self.u8()
            if k == 255:
                out += [0] * part
                continue
            bits = "".join(f"{b:08b}" for b in self.data[self.at:])
            at = 0
            for _ in range(part):
                q = 0
                while q < 24 and bits[at] == "1":
                    q, at = q + 1, at + 1
                if q == 24:
                    z, at = int(bits[at:at + 64], 2), at + 64
                else:
                    at += 1
                    z = q << k | int(bits[at:at + k] or "0", 2)
                    at += k
                out.append(z >> 1 if z & 1 == 0 else -(z + 1 >> 1))
            self.take((at + 7) // 8)
        return out


data = open(sys.argv[1], "rb").read()
block = Bytes(data)
assert block.take(4) == b"TVTR" and block.u8() == 1
head = Bytes(block.take(block.uv()))
assert struct.unpack("<I", block.take(4))[0] == crc32c(data[:block.at - 4])
flags, offset = head.u8(), head.sv()
quantum = struct.unpack("<d", head.take(8))[0]
channel = json.loads(head.take(head.uv()))
source = head.take(head.uv()).decode()
samples, chunks = head.uv(), head.uv()
times, counts, gone, last, encodings = [], [], 0, 0, []
for _ in range(chunks):
    first = last + head.sv()
    last = first + head.uv()
    n, present = head.uv() + 1, head.uv()
    least = most = None
    if present:
        least = head.sv()
        most = least + head.uv()
    chunk = block.take(head.uv())
    assert struct.unpack("<I", chunk[-4:])[0] == crc32c(chunk[:-4])
    encodings.append(chunk[0])
    body = Bytes(chunk[1:-4])
    if chunk[0] == 2:
        size = body.uv()
        raw = subprocess.run(["zstd", "-dc"], input=body.data[body.at:], capture_output=True, check=True).stdout
        assert len(raw) == size
        body = Bytes(raw)
    if present < n:
        told, missing = 0, False
        while told < n:
            run = body.uv()
            told, gone, missing = told + run, gone + (run if missing else 0), not missing
    ts = [first]
    if n > 1:
        unit, model = body.uv(), body.u8()
        if model == 0:
            d = (last - first) // unit
            ts += [first + unit * (i * d // (n - 1) + r) for i, r in enumerate(body.residuals(n - 1), 1)]
        else:
            step = body.uv()
            for r in body.residuals(n - 1):
                ts.append(ts[-1] + unit * (step + r))
    assert ts[-1] == last
    cs = []
    if present:
        cs, before = [body.sv()], None
        order = body.u8()
        for r in body.residuals(present - 1):
            slope = 0 if order == 1 or len(cs) < 2 else cs[-1] - cs[-2]
            cs.append(cs[-1] + slope + r)
        assert min(cs) == least and max(cs) == most
    assert body.at == len(body.data)
    times += ts
    counts += cs
assert block.at == len(data) and head.at == len(head.data) and samples == len(times)
print(f"{channel['id']} {flags} {offset} {quantum} {source} samples {samples} missing {gone} "
      f"times {sum(times)} counts {sum(counts)} weighted {sum(i * c for i, c in enumerate(counts))} encodings {encodings}")
