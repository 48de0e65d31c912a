package design

const goldenPairs = `1 B02 B02-b first right P2 267
2 B02 B02-a last left P1 847
3 B03 B03-b last right P2 492
4 B03 B03-a first left P1 861
5 B01 B01-b first right P1 967
6 B01 B01-a last left P2 586
7 B04 B04-b last right P1 165
8 B04 B04-a first left P2 827
`

const goldenIncomplete = `1 B04 B04-b c   183
2 B04 B04-a a   543
3 B06 B06-b d   735
4 B06 B06-a b   754
5 B01 B01-a d   609
6 B01 B01-b a   319
7 B03 B03-b b   136
8 B03 B03-a a   902
9 B05 B05-a b   671
10 B05 B05-b c   657
11 B02 B02-a c   580
12 B02 B02-b d   923
`
