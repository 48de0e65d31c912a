// Package quantity parses and prints amounts as a cook writes them.
//
// A temperature and a difference of temperatures are different types: adding
// 10 °F of heat is not the temperature 10 °F. Values are kept in the units
// named by their accessors; units stand at the edge only.
//
// Call the parser of the kind that is wanted, such as [ParseTemperature] or
// [ParseMass]; [ParseAmount] where a tolerance or an uncertainty may follow
// ("30 mm ± 1 mm"), [Parse] where the unit decides. Parsers answer with a
// finite amount or a [trivet/fault.Error] that says what to write instead.
package quantity

// Temperature is a point on the temperature scale, held in °C.
type Temperature struct{ c float64 }

// Celsius returns the temperature c °C.
func Celsius(c float64) Temperature { return Temperature{c} }

// Fahrenheit returns the temperature f °F.
func Fahrenheit(f float64) Temperature { return Temperature{(f - 32) / 1.8} }

// C returns the temperature in °C.
func (t Temperature) C() float64 { return t.c }

// F returns the temperature in °F.
func (t Temperature) F() float64 { return t.c*1.8 + 32 }

// K returns the thermodynamic temperature in K.
func (t Temperature) K() float64 { return t.c + 273.15 }

// Add returns the temperature d above t.
func (t Temperature) Add(d Difference) Temperature { return Temperature{t.c + d.k} }

// Sub returns the difference t − u.
func (t Temperature) Sub(u Temperature) Difference { return Difference{t.c - u.c} }

// Difference is a difference of two temperatures, held in K.
type Difference struct{ k float64 }

// Kelvins returns a difference of k K.
func Kelvins(k float64) Difference { return Difference{k} }

// FahrenheitDegrees returns a difference of f °F.
func FahrenheitDegrees(f float64) Difference { return Difference{f / 1.8} }

// K returns the difference in K.
func (d Difference) K() float64 { return d.k }

// F returns the difference in °F.
func (d Difference) F() float64 { return d.k * 1.8 }

// Length is a distance, held in metres.
type Length struct{ m float64 }

// Metres returns a length of m metres.
func Metres(m float64) Length { return Length{m} }

// M returns the length in metres.
func (l Length) M() float64 { return l.m }

// MM returns the length in millimetres.
func (l Length) MM() float64 { return l.m * 1e3 }

// In returns the length in inches.
func (l Length) In() float64 { return l.m / 0.0254 }

// Mass is a mass, held in kilograms.
type Mass struct{ kg float64 }

// Kilograms returns a mass of kg kilograms.
func Kilograms(kg float64) Mass { return Mass{kg} }

// Kg returns the mass in kilograms.
func (m Mass) Kg() float64 { return m.kg }

// G returns the mass in grams.
func (m Mass) G() float64 { return m.kg * 1e3 }

// Lb returns the mass in avoirdupois pounds.
func (m Mass) Lb() float64 { return m.kg / 0.45359237 }

// Duration is a span of time, held in seconds. It may be negative in
// arithmetic but never when parsed.
type Duration struct{ s float64 }

// Seconds returns a span of s seconds.
func Seconds(s float64) Duration { return Duration{s} }

// S returns the span in seconds.
func (d Duration) S() float64 { return d.s }

// Min returns the span in minutes.
func (d Duration) Min() float64 { return d.s / 60 }
