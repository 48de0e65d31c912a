package quantity

import "strconv"

// exact prints v so that reading it back gives the same number.
func exact(v float64, unit string) []byte {
	return append(strconv.AppendFloat(nil, v, 'g', -1, 64), unit...)
}

// MarshalText writes the temperature in °C without loss, for files.
func (t Temperature) MarshalText() ([]byte, error) { return exact(t.c, " °C"), nil }

// UnmarshalText reads any form of [ParseTemperature].
func (t *Temperature) UnmarshalText(b []byte) (err error) {
	*t, err = ParseTemperature(string(b))
	return err
}

// MarshalText writes the difference in K without loss, for files.
func (d Difference) MarshalText() ([]byte, error) { return exact(d.k, " K"), nil }

// UnmarshalText reads any form of [ParseDifference].
func (d *Difference) UnmarshalText(b []byte) (err error) {
	*d, err = ParseDifference(string(b))
	return err
}

// MarshalText writes the length in m without loss, for files.
func (l Length) MarshalText() ([]byte, error) { return exact(l.m, " m"), nil }

// UnmarshalText reads any form of [ParseLength].
func (l *Length) UnmarshalText(b []byte) (err error) {
	*l, err = ParseLength(string(b))
	return err
}

// MarshalText writes the mass in kg without loss, for files.
func (m Mass) MarshalText() ([]byte, error) { return exact(m.kg, " kg"), nil }

// UnmarshalText reads any form of [ParseMass].
func (m *Mass) UnmarshalText(b []byte) (err error) {
	*m, err = ParseMass(string(b))
	return err
}

// MarshalText writes the span in s without loss, for files.
func (d Duration) MarshalText() ([]byte, error) { return exact(d.s, " s"), nil }

// UnmarshalText reads any form of [ParseDuration].
func (d *Duration) UnmarshalText(b []byte) (err error) {
	*d, err = ParseDuration(string(b))
	return err
}
