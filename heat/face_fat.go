package heat

import "fmt"

// DefaultFilm is the film coefficient of spooned hot fat, W/(m²·K): 40–80
// was found to meet common-practice ranges for basted pieces, and a flowing
// film gives 200–400 while it flows (no published value found).
const DefaultFilm = 60.0

// DefaultOiledEvaporation is the share of evaporation left on a face that
// was spooned with fat, once the spooning stops. Tuned to common-practice
// carryover, not published.
const DefaultOiledEvaporation = 0.4

// FatFilm is hot fat spooned over a face. At any moment a share c (Cover) of
// the face lies under fat and meets it for a share d (Duty) of the time; the
// rest of the face goes on with what was there (Under):
//
//	q = c·d·h_film·(T_fat − T_s) + (1 − c·d)·q_under,
//	evaporation = (1 − c·(1 − e))·evaporation_under.
//
// The side of the piece stays oiled: afterwards its evaporation is
// multiplied by OiledEvaporation.
type FatFilm struct {
	FatC  float64
	Film  float64 // h_film, W/(m²·K); 0 is DefaultFilm
	Cover float64 // c, 0–1; 0 is 1
	Duty  float64 // d, 0–1; 0 is 1
	// Evaporation is e, the share of its evaporation a covered spot keeps.
	Evaporation float64
	// OiledEvaporation: nil is DefaultOiledEvaporation.
	OiledEvaporation *float64
	// Under is the face the fat runs over; nil is the face that the action
	// replaces or, in a leg's own faces, still air at 25 °C.
	Under Face
}

// Describe names the face.
func (f FatFilm) Describe() string { return fmt.Sprintf("hot fat %.4g °C", f.FatC) }

func (f FatFilm) check() error {
	c := checker{}
	c.temperature("fat", f.FatC)
	c.atLeast("film", f.Film, 0)
	c.between("cover", f.Cover, 0, 1)
	c.between("duty", f.Duty, 0, 1)
	c.between("evaporation", f.Evaporation, 0, 1)
	c.optional("oiled evaporation", f.OiledEvaporation, 0, 1)
	if _, again := f.Under.(FatFilm); again {
		c.fail("fat", "a fat film cannot run over another fat film")
	} else if f.Under != nil && c.err == nil {
		return f.Under.check()
	}
	return c.err
}

func (f FatFilm) compile(env *environment) boundary {
	under := f.Under
	if under == nil {
		under = Air{TempC: 25}
	}
	cover := orDefault(f.Cover, 1)
	touched := cover * orDefault(f.Duty, 1)
	b := under.compile(env)
	b.scale(1 - touched)
	b.evapH *= 1 - cover*(1-f.Evaporation)
	b.fatH = touched * orDefault(f.Film, DefaultFilm)
	b.fatC = f.FatC
	b.oil = optional(f.OiledEvaporation, DefaultOiledEvaporation)
	b.oils = true
	return b
}
