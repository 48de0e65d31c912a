package safety

import "strings"

// SmokeRange is the range of smoke points published for a fat.
type SmokeRange struct {
	Fat         string
	LowC, HighC float64
}

// smokeRanges gives the lowest and highest value over four public tables,
// which disagree by tens of degrees because the smoke point falls with free
// fatty acids and use. Secondary source; the method of record is the open
// cup, which none of the tables cites. A single figure is never shown.
var smokeRanges = []SmokeRange{
	{"clarified butter", 190, 252},
	{"ghee", 190, 252},
	{"butter", 121, 177},
	{"extra virgin olive oil", 160, 210},
	{"olive oil", 225, 242},
	{"canola oil", 204, 246},
	{"rapeseed oil", 204, 246},
	{"peanut oil", 227, 232},
	{"soybean oil", 213, 241},
	{"sunflower oil", 210, 232},
	{"grapeseed oil", 204, 216},
	{"lard", 121, 218},
}

// SmokePoint returns the published range for a fat by name; false when it is
// not in the table.
func SmokePoint(fat string) (SmokeRange, bool) {
	fat = strings.ToLower(strings.TrimSpace(fat))
	for _, r := range smokeRanges {
		if fat == r.Fat || strings.TrimSuffix(r.Fat, " oil") == fat {
			return r, true
		}
	}
	return SmokeRange{}, false
}
