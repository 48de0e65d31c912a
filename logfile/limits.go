package logfile

// Limits bound what a file may ask of the machine. A zero field takes the
// default.
type Limits struct {
	MaxBytes   int64 // after decompression; default 4 GiB
	MaxLine    int   // bytes of one row; default 1 MiB
	MaxColumns int   // default 4096
	MaxCells   int   // rows × columns that are kept; default 2²⁷ (1 GiB of numbers)
}

func (l Limits) filled() Limits {
	if l.MaxBytes <= 0 {
		l.MaxBytes = 4 << 30
	}
	if l.MaxLine <= 0 {
		l.MaxLine = 1 << 20
	}
	if l.MaxColumns <= 0 {
		l.MaxColumns = 4096
	}
	if l.MaxCells <= 0 {
		l.MaxCells = 1 << 27
	}
	return l
}
