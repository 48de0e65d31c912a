# Writes log.csv with other programs' writers. Run in this folder with Debian's
# python3-pandas, python3-openpyxl, python3-odf and python3-xlsxwriter:
#   /usr/bin/python3 make.py
import sys

import odf.namespaces
import openpyxl
import pandas
import xlsxwriter

t = pandas.read_csv("log.csv", parse_dates=["time"], na_filter=False)


def number(s):
    try:
        return float(s)
    except ValueError:
        return s or None


for c in ["core °C", "pan °C", "weighing g"]:
    t[c] = [number(str(v)) for v in t[c]]

t.to_excel("pandas-openpyxl.xlsx", engine="openpyxl", index=False)
t.to_excel("pandas-xlsxwriter.xlsx", engine="xlsxwriter", index=False)
t.to_excel("pandas-odf.ods", engine="odf", index=False)

# openpyxl's write-only mode keeps texts and dates its own way.
book = openpyxl.Workbook(write_only=True)
sheet = book.create_sheet("log")
sheet.append(list(t.columns))
for row in t.itertuples(index=False):
    sheet.append([row[0].to_pydatetime(), *(None if pandas.isna(v) else v for v in row[1:])])
book.save("openpyxl-write-only.xlsx")

# xlsxwriter in constant memory writes texts inside their cells.
book = xlsxwriter.Workbook("xlsxwriter-constant-memory.xlsx", {"constant_memory": True})
sheet = book.add_worksheet("log")
date = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
sheet.write_row(0, 0, t.columns)
for i, row in enumerate(t.itertuples(index=False)):
    sheet.write_datetime(i + 1, 0, row[0].to_pydatetime(), date)
    for k, v in enumerate(row[1:]):
        if v is not None and not pandas.isna(v):
            sheet.write(i + 1, k + 1, v)
book.close()
print("Python", sys.version.split()[0], "pandas", pandas.__version__, "openpyxl", openpyxl.__version__,
      "XlsxWriter", xlsxwriter.__version__, "odfpy", odf.namespaces.TOOLSVERSION)
