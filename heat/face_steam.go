package heat

import "fmt"

// DefaultSteamH is the coefficient of steam condensing in the presence of
// some air, W/(m²·K), from memory: 200–1000; pure steam 5 000–15 000.
const DefaultSteamH = 1000.0

// Steam condenses on the face, q = h·(T_steam − T_s) while the face is the
// colder; a hotter face exchanges the same. The condensate runs off and does
// not count as mass of the piece.
type Steam struct {
	TempC *float64 // nil is the boiling point at the cook's pressure
	H     float64  // W/(m²·K); 0 is DefaultSteamH
}

// Describe names the face.
func (f Steam) Describe() string {
	if f.TempC == nil {
		return "steam at boiling"
	}
	return fmt.Sprintf("steam %.4g °C", *f.TempC)
}

func (f Steam) check() error {
	c := checker{}
	c.optional("steam", f.TempC, -50, 1000)
	c.atLeast("h", f.H, 0)
	return c.err
}

func (f Steam) compile(env *environment) boundary {
	return boundary{steamH: orDefault(f.H, DefaultSteamH), steamC: optional(f.TempC, env.boilC)}
}
