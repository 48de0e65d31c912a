package doneness

// State is what a place in a food has been through: the dose ∫k dt of each
// change. The zero value is raw.
type State struct {
	Myosin, Collagen, Actin, Myoglobin, Browning float64
}

// Model holds the changes of one family of foods.
type Model struct {
	Family    Family
	Myosin    Reaction
	Collagen  Reaction
	Actin     Reaction
	Myoglobin Reaction
	Browning  Reaction
	palette   palette
}

// Family is a group of foods that cook alike.
type Family string

// Families. Plain is anything without muscle protein: it browns and that is
// all.
const (
	Beef    Family = "beef"
	Lamb    Family = "lamb"
	Pork    Family = "pork"
	Poultry Family = "poultry"
	Fish    Family = "fish"
	Salmon  Family = "salmon"
	Plain   Family = "plain"
)

// Families lists all families.
func Families() []Family { return []Family{Beef, Lamb, Pork, Poultry, Fish, Salmon, Plain} }

const (
	sourceMyoglobin = "beef: k0 7.98e43 1/min, E 290 kJ/mol, Geileskey et al. 1998, Meat Sci., as restated in a later thesis"
	sourceMyosin    = "calorimeter peak 57 °C at 10 K/min (range 54–58, Encyclopedia of Meat Sciences); E 300 kJ/mol assumed"
	sourceActin     = "calorimeter peak 81 °C at 10 K/min (Findlay & Stanley 1984, 80–83); E 300 kJ/mol assumed"
	sourceCollagen  = "half-completed in 11 min at 58 °C (Machlik & Draudt 1963, J. Food Sci. 28:711); E 400 kJ/mol chosen"
	sourceFishSet   = "calorimeter peak near 40 °C at 10 K/min (salmon myosin and collagen); E 300 kJ/mol assumed"
	sourceFishActin = "cod: D 130.1 min at 62 °C, z 5.74 K (Skipnes et al. 2008), E 375 kJ/mol"
	sourceBrowning  = "bread crust: colour difference tends to 52, k0 42,000 1/s, E 64.151 kJ/mol, 140–250 °C (Zanoni, Peri & Bruno 1995, Lebensm.-Wiss. Technol. 28:314)"
)

// Myoglobin is the loss of red in beef: 6.5 % of it looks rare, 93 % well
// done (Geileskey et al. 1998).
func Myoglobin() Reaction { return fromFactor(7.98e43/60, 290e3, 60, sourceMyoglobin) }

// CrustBrowning is the browning of a bread crust, of which a dose gives the
// colour difference [BrowningDeltaE]. For meat it is a stand-in.
func CrustBrowning() Reaction { return fromFactor(42000, 64151, 180, sourceBrowning) }

// For returns the model of a family; an unknown family is treated as Plain.
//
// Myosin, collagen and actin of mammals and poultry share one set of numbers;
// lamb and poultry use beef's myoglobin, for want of better.
func For(f Family) Model {
	m := Model{Family: f, Browning: CrustBrowning(), palette: palettes[f]}
	switch f {
	case Beef, Lamb, Pork, Poultry:
		m.Myosin = fromScan(57, 300e3, sourceMyosin)
		m.Collagen = Reaction{58, 0.6931471805599453 / 660, 400e3, sourceCollagen}
		m.Actin = fromScan(81, 300e3, sourceActin)
		m.Myoglobin = Myoglobin()
	case Fish, Salmon:
		m.Myosin = fromScan(40, 300e3, sourceFishSet)
		m.Collagen = fromScan(40, 300e3, sourceFishSet)
		m.Actin = Reaction{62, 2.302585092994046 / (130.1 * 60), 375e3, sourceFishActin}
		m.Myoglobin = Myoglobin()
	default:
		m.Family, m.palette = Plain, palettes[Plain]
	}
	return m
}

// HasMuscle reports whether the family has muscle proteins.
func (m Model) HasMuscle() bool { return m.Family != Plain }

// Advance adds to s what happens in seconds while the temperature goes
// linearly from t0C to t1C. A missing stretch must not be bridged: leave it
// out.
func (m Model) Advance(s *State, t0C, t1C, seconds float64) {
	if m.HasMuscle() {
		s.Myosin += m.Myosin.Dose(t0C, t1C, seconds)
		s.Collagen += m.Collagen.Dose(t0C, t1C, seconds)
		s.Actin += m.Actin.Dose(t0C, t1C, seconds)
		s.Myoglobin += m.Myoglobin.Dose(t0C, t1C, seconds)
	}
	s.Browning += m.Browning.Dose(t0C, t1C, seconds)
}

// BrowningDeltaE returns the colour difference ΔE of browning in a state: 52
// when complete (Zanoni, Peri & Bruno 1995).
func (s State) BrowningDeltaE() float64 { return 52 * Share(s.Browning) }
