package figure

// fitted lays a figure out, and where a size has a fixed height and the body
// runs over it, again with smaller text. build returns the scene and the y at
// which its body ends; limit is where it should.
func fitted(size Size, build func(Size) (sc *Scene, bottom, limit float64, err error)) (*Scene, error) {
	full := size
	for step := 0; ; step++ {
		sc, bottom, limit, err := build(size)
		if err != nil {
			return nil, err
		}
		if full.H == 0 || bottom <= limit || step == maxShrink {
			return sc, nil
		}
		size.TextPx *= 0.95
	}
}

// maxShrink keeps text at or above 0.95^20, about a third, of its size.
const maxShrink = 20
