package heat

// Face is what touches one surface of a piece: one of [Pan], [Air], [Fluid],
// [Steam], [FatFilm], [Board], [Foil], [Insulated], [FixedTemperature] and
// [FixedFlux]. Each stands in a file of its own with its equations, defaults
// and sources.
type Face interface {
	// Describe names the face in a few words for events and errors.
	Describe() string
	// check returns what is wrong with the face's values, as an error naming
	// the field relative to the face.
	check() error
	// compile turns the face into terms of the common boundary law.
	compile(env *environment) boundary
}
