#!/bin/sh
# Writes log.csv with the programs of an office. Run in this folder with
# Debian's libreoffice-calc-nogui, gnumeric and r-cran-openxlsx.
set -eu
out=$(mktemp -d)
import='--infilter=CSV:44,34,76,1,,0,false,true,false'
soffice -env:UserInstallation="file://$out/profile" --headless "$import" --convert-to ods:calc8 --outdir "$out" log.csv >/dev/null
cp "$out/log.ods" libreoffice.ods
soffice -env:UserInstallation="file://$out/profile" --headless "$import" --convert-to "xlsx:Calc MS Excel 2007 XML" --outdir "$out" log.csv >/dev/null
cp "$out/log.xlsx" libreoffice.xlsx
ssconvert -T Gnumeric_OpenCalc:odf log.csv gnumeric.ods 2>/dev/null
ssconvert -T Gnumeric_Excel:xlsx log.csv gnumeric.xlsx 2>/dev/null
Rscript -e '
t <- read.csv("log.csv", check.names = FALSE, encoding = "UTF-8", na.strings = character(0))
names(t) <- enc2utf8(names(t))
t$time <- as.POSIXct(t$time, tz = "UTC")
options(openxlsx.datetimeFormat = "yyyy-mm-dd hh:mm:ss")
openxlsx::write.xlsx(t, "r-openxlsx.xlsx")
cat(R.version.string, "openxlsx", as.character(packageVersion("openxlsx")), "\n")'
soffice --version
ssconvert --version
rm -r "$out"
