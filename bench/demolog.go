package bench

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"time"

	"trivet/heat"
	"trivet/stats"
)

// demoLead is how long the logger ran before heat on.
const demoLead = 45 * time.Second

// demoLog writes a cook's samples as one of two invented loggers would: one
// with clock times, commas and °C, the other with elapsed times, semicolons,
// decimal commas and °F.
func demoLog(res *heat.Result, s *stats.Stream, start time.Time, continental bool) []byte {
	var b bytes.Buffer
	names := []string{"core", "d5", "d10", "d20", "d25", "surface A", "surface B", "pan"}
	if continental {
		b.WriteString("Logger;kitchen two;invented data\r\n")
		b.WriteString("Time;" + strings.Join(names, " °F;") + " °F\r\n")
	} else {
		b.WriteString("# logger: kitchen one, invented data\r\n")
		b.WriteString("time," + strings.Join(names, " (°C),") + " (°C)\r\n")
	}
	lead := int(demoLead / time.Second)
	n := len(res.TimeS)
	row := make([]float64, len(names))
	bias := make([]float64, len(names))
	for i := range bias {
		bias[i] = 0.15 * s.Normal()
		if i == 5 || i == 6 {
			bias[i] = 2 * s.Normal()
		}
	}
	for k := -lead; k < n; k++ {
		i := max(k, 0)
		row[0] = res.CoreC[i]
		copy(row[1:5], res.DepthC[i])
		row[5], row[6] = res.BottomC[i], res.TopC[i]
		row[7] = demoPan(res, i, k)
		if continental {
			sec := k + lead
			fmt.Fprintf(&b, "%d:%02d:%02d", sec/3600, sec/60%60, sec%60)
		} else {
			b.WriteString(start.Add(time.Duration(k+lead) * time.Second).Format(time.RFC3339))
		}
		for j, c := range row {
			c += bias[j] + 0.1*s.Normal()
			if continental {
				b.WriteByte(';')
				b.WriteString(strings.Replace(fmt.Sprintf("%.1f", c*1.8+32), ".", ",", 1))
			} else {
				fmt.Fprintf(&b, ",%.1f", c)
			}
		}
		b.WriteString("\r\n")
	}
	return b.Bytes()
}

// demoPan is the pan's temperature: at its set point before the piece, lower
// for a while after it went in.
func demoPan(res *heat.Result, i, k int) float64 {
	const setC, sagK, backS = 205, 14, 60
	var from float64 = -1
	for _, l := range res.Legs {
		if l.Name == "sear" && res.TimeS[i] >= l.StartS {
			from = res.TimeS[i] - l.StartS
		}
	}
	if k < 0 || from < 0 {
		return setC
	}
	return setC - sagK*math.Exp(-from/backS)*(1-math.Exp(-from/5))
}
