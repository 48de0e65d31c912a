package safety

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"trivet/fault"
)

//go:embed tables/fsis_appendix_a_2021_table2_meat.csv
var meatTable []byte

//go:embed tables/fsis_appendix_a_2021_tables3_4_poultry_long.csv
var poultryTable []byte

//go:embed tables/fda_food_code_2022_3-401.11B_roast_holding.csv
var roastTable []byte

//go:embed tables/derived_D_z.csv
var fitTable []byte

// Row is one line of a time–temperature table: HoldS seconds at TempC.
type Row struct{ TempC, HoldS float64 }

// Criterion is a published time–temperature criterion. Rows rise in
// temperature. It is met by the printed table alone: one row's time at or
// above its temperature, unbroken; between rows the time is interpolated
// log-linearly, outside them nothing is extrapolated.
type Criterion struct {
	Name    string
	Edition string
	// Log10 is the reduction the table was made for; 0 where it states none.
	Log10 float64
	// Conditions are the table's other conditions, which a temperature log
	// does not show.
	Conditions string
	Rows       []Row
}

const fsisEdition = "USDA FSIS Cooking Guideline for Meat and Poultry Products (Revised Appendix A), December 2021"
const foodCodeEdition = "FDA Food Code 2022, 3-401.11"

// chartEdition names the USDA FSIS "Safe Minimum Internal Temperature Chart"
// without a word that trivet never prints of food.
const chartEdition = "USDA FSIS consumer chart of minimum internal temperatures, April 2025"
const fsisConditions = "humidity and come-up conditions of the table not logged"

// Food says what was cooked, for choosing criteria and fitted kinetics.
type Food struct {
	Animal string  // beef | pork | lamb | chicken | turkey
	FatPct float64 // of poultry; 0 or above 12 takes the 12 % column
	Form   string  // intact | ground | …
}

// Check refuses a food the tables do not hold.
func (f Food) Check() error {
	known := []string{"beef", "pork", "lamb", "chicken", "turkey"}
	if !slices.Contains(known, f.Animal) {
		return fault.BadUsage("food-unknown", "the tables have no %q", f.Animal).On("--food", f.Animal).WithFix("one of: %s", strings.Join(known, ", "))
	}
	if f.FatPct < 0 || f.FatPct > 100 || math.IsNaN(f.FatPct) {
		return fault.BadUsage("fat-range", "fat is a percentage").On("--fat", fmt.Sprint(f.FatPct)).WithFix("from 0 to 100")
	}
	if f.Form != "" && !slices.Contains(forms, f.Form) {
		return fault.BadUsage("form-unknown", "the criteria know no form %q", f.Form).On("--form", f.Form).WithFix("one of: %s", strings.Join(forms, ", "))
	}
	return nil
}

// forms that the criteria tell apart.
var forms = []string{"intact", "ground", "tenderised", "injected", "stuffed"}

func (f Food) poultry() bool { return f.Animal == "chicken" || f.Animal == "turkey" }

// fatColumn is the printed column that covers a fat content: the next whole
// percent, and 12 when the fat is unknown or above it, as the table directs.
func (f Food) fatColumn() int {
	c := int(math.Ceil(f.FatPct))
	if c < 1 || c > 12 {
		return 12
	}
	return c
}

// Criteria returns the published criteria that concern a food: the consumer
// chart first, then the retail code, then the process tables. They disagree
// by design; the first is the one a home should look at.
func Criteria(f Food) ([]Criterion, error) {
	if err := f.Check(); err != nil {
		return nil, err
	}
	var out []Criterion
	if m, ok := ConsumerMinimum(f.Animal, f.Form); ok {
		out = append(out, Criterion{Name: fmt.Sprintf("consumer figure for %s, %.0f °F", m.Food, m.TempF), Edition: chartEdition,
			Conditions: restCondition(m), Rows: []Row{{m.TempC, 0}}})
	}
	switch {
	case f.poultry():
		out = append(out, Criterion{Name: "retail minimum for poultry, 165 °F", Edition: foodCodeEdition + "(A)(3)", Rows: []Row{{(165 - 32) / 1.8, 0}}})
		rows, err := poultryRows(f)
		if err != nil {
			return nil, err
		}
		out = append(out, Criterion{Name: fmt.Sprintf("%s, 7 log10 Salmonella, %d %% fat", f.Animal, f.fatColumn()), Log10: 7,
			Edition: fsisEdition + ", Tables 3 and 4", Conditions: fsisConditions, Rows: rows})
	default:
		intact := f.Form != "ground" && f.Form != "tenderised" && f.Form != "injected"
		if !intact {
			out = append(out, Criterion{Name: "retail minimum for comminuted or non-intact meat", Edition: foodCodeEdition + "(A)(2)",
				Rows: []Row{{63, 180}, {66, 60}, {68, 17}, {70, 0}}})
		} else {
			out = append(out, Criterion{Name: "retail minimum for intact meat, 145 °F for 15 s", Edition: foodCodeEdition + "(A)(1)", Rows: []Row{{63, 15}}})
		}
		if intact { // (B) is of whole roasts
			rows, err := tableRows(roastTable, "hold_s")
			if err != nil {
				return nil, err
			}
			out = append(out, Criterion{Name: "retail holding chart for whole roasts", Edition: foodCodeEdition + "(B)",
				Conditions: "oven temperature and humidity of the chart not logged", Rows: rows})
		}
		for _, c := range []struct {
			log float64
			col string
		}{{6.5, "dwell_s_6p5log"}, {7, "dwell_s_7log"}} {
			rows, err := tableRows(meatTable, c.col)
			if err != nil {
				return nil, err
			}
			out = append(out, Criterion{Name: fmt.Sprintf("meat, %.2g log10 Salmonella", c.log), Log10: c.log,
				Edition: fsisEdition + ", Table 2", Conditions: fsisConditions, Rows: rows})
		}
	}
	return out, nil
}

func restCondition(m Minimum) string {
	if m.RestS > 0 {
		return fmt.Sprintf("and a rest of %.0f min", m.RestS/60)
	}
	return ""
}

// FittedKinetics returns the D and z that were fitted here to the process
// table of a food, with their source. They are not figures of the table's
// authors, and a single line misses the 12 % poultry columns by up to 25 % in
// time.
func FittedKinetics(f Food) (Kinetics, error) {
	if err := f.Check(); err != nil {
		return Kinetics{}, err
	}
	name, words := "meat 6.5log all 130-157F", "the table of 6.5 log10 for meat, 130 to 157 °F"
	if f.poultry() {
		col := 12
		for _, c := range []int{1, 6} {
			if f.FatPct > 0 && f.FatPct <= float64(c) {
				col = c
				break
			}
		}
		name = fmt.Sprintf("%s %d%% fat all", f.Animal, col)
		words = fmt.Sprintf("the table for %s of %d %% fat, all rows", f.Animal, col)
	}
	rows, err := csv.NewReader(bytes.NewReader(fitTable)).ReadAll()
	if err != nil {
		return Kinetics{}, fault.New("table-broken", "the table of fits cannot be read").Wrap(err)
	}
	head := rows[0]
	for _, r := range rows[1:] {
		if r[0] != name {
			continue
		}
		z, err1 := strconv.ParseFloat(r[slices.Index(head, "z_C")], 64)
		d, err2 := strconv.ParseFloat(r[slices.Index(head, "D_60C_s")], 64)
		if err1 == nil && err2 == nil {
			return Kinetics{DS: d, RefC: 60, ZK: z, Source: "fitted here to " + fsisEdition + " (" + words + ")"}, nil
		}
	}
	return Kinetics{}, fault.New("table-broken", "the table of fits has no row %q", name)
}

func poultryRows(f Food) ([]Row, error) {
	all, err := csv.NewReader(bytes.NewReader(poultryTable)).ReadAll()
	if err != nil {
		return nil, fault.New("table-broken", "the poultry table cannot be read").Wrap(err)
	}
	head := all[0]
	at := func(r []string, col string) string { return r[slices.Index(head, col)] }
	var out []Row
	for _, r := range all[1:] {
		if at(r, "species") == f.Animal && at(r, "fat_pct") == strconv.Itoa(f.fatColumn()) {
			row, err := parseRow(at(r, "temp_F"), at(r, "dwell_s_7log"))
			if err != nil {
				return nil, err
			}
			out = append(out, row)
		}
	}
	return out, nil
}

// tableRows reads a table's rows; the temperature is taken from its
// Fahrenheit column where there is one, since that is what is printed.
func tableRows(table []byte, holdCol string) ([]Row, error) {
	all, err := csv.NewReader(bytes.NewReader(table)).ReadAll()
	if err != nil {
		return nil, fault.New("table-broken", "a table cannot be read").Wrap(err)
	}
	head := all[0]
	var out []Row
	for _, r := range all[1:] {
		row, err := parseRow(r[slices.Index(head, "temp_F")], r[slices.Index(head, holdCol)])
		if err != nil {
			return nil, err
		}
		out = append(out, row)
	}
	return out, nil
}

func parseRow(tempF, hold string) (Row, error) {
	f, err1 := strconv.ParseFloat(tempF, 64)
	s, err2 := strconv.ParseFloat(hold, 64)
	if err1 != nil || err2 != nil {
		return Row{}, fault.New("table-broken", "a table row is not a number: %s, %s", tempF, hold)
	}
	return Row{(f - 32) / 1.8, s}, nil
}

// Needed is the time a criterion asks for at a temperature, s: log-linear
// between rows with a time, never extrapolated. Between the last row with a
// time and the first printed as instant, the former's time holds. False
// below the first row.
func (c Criterion) Needed(tC float64) (float64, bool) {
	if len(c.Rows) == 0 || tC < c.Rows[0].TempC {
		return 0, false
	}
	for i := len(c.Rows) - 1; i >= 0; i-- {
		r := c.Rows[i]
		if tC < r.TempC {
			continue
		}
		if i == len(c.Rows)-1 || r.HoldS == 0 || tC == r.TempC {
			return r.HoldS, true // as printed
		}
		next := c.Rows[i+1]
		if next.HoldS == 0 {
			return r.HoldS, true
		}
		f := (tC - r.TempC) / (next.TempC - r.TempC)
		return math.Exp(math.Log(r.HoldS) + f*(math.Log(next.HoldS)-math.Log(r.HoldS))), true
	}
	return 0, false
}

// Met says what a log met of a criterion.
type Met struct {
	Name    string  `json:"name"`
	Edition string  `json:"edition"`
	State   State   `json:"state"` // reached, not reached, cannot tell
	Met     *bool   `json:"met"`   // null: cannot tell
	NeededS float64 `json:"needed_s"`
	LoggedS float64 `json:"logged_s"`
	AtC     float64 `json:"at_c"`
	Note    string  `json:"note,omitempty"`
}

// Against compares a log of the coldest estimated point, lowered by its
// expanded uncertainty uK, with a criterion. The temperature shown is the one
// at which the log comes nearest to the criterion's time. A log with gaps
// that did not meet it might have: then it cannot be told.
func (l Log) Against(c Criterion, uK float64, known bool) Met {
	m := Met{Name: c.Name, Edition: c.Edition, Note: c.Conditions, State: NotReached}
	best := math.Inf(-1)
	try := func(tC float64) {
		need, ok := c.Needed(tC)
		if !ok {
			return
		}
		held := l.LongestAbove(tC, uK)
		if need == 0 && l.Peak()-uK >= tC {
			held = math.Max(held, math.SmallestNonzeroFloat64)
		}
		score := math.Inf(1)
		if need > 0 {
			score = held / need
		} else if held == 0 {
			score = (l.Peak() - uK - tC) / 1000 // below it: the nearer the better
		}
		if score > best {
			best = score
			m.NeededS, m.LoggedS, m.AtC = need, held, tC
		}
		if held >= need && (need > 0 || held > 0) {
			m.State = Reached
		}
	}
	for i, r := range c.Rows {
		try(r.TempC)
		if i+1 < len(c.Rows) {
			for t := r.TempC + 0.1; t < c.Rows[i+1].TempC; t += 0.1 {
				try(t)
			}
		}
	}
	if m.LoggedS < 1e-300 {
		m.LoggedS = 0
	}
	if n, _ := l.Gaps(); m.State == NotReached && n > 0 || m.State == Reached && !known {
		m.State = CannotTell
	}
	if m.State != CannotTell {
		yes := m.State == Reached
		m.Met = &yes
	}
	return m
}

// middle is the median of x, which it sorts.
func middle(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	slices.Sort(x)
	return x[len(x)/2]
}
