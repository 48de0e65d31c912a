package study

import (
	"slices"
	"strings"

	"trivet/quantity"
)

// Response is a value trivet computes for each cook. Any other response name
// is a reading that a person types in.
type Response struct {
	ID   string
	Unit string // unit the values are reported in
	Kind quantity.Kind
	What string // one plain sentence
	// Target says that the name takes a temperature: time_to_core(60 °C).
	Target bool
	// Needs lists what must have been recorded: "core", "surface", "pan",
	// "mass", "off_heat", "served", "raw", "rested", "cut", "depths".
	Needs []string
}

// Margins says how the smallest difference that matters is written for the
// response, as an example.
func (r Response) Margins() string {
	switch r.Kind {
	case quantity.KindPercent:
		return `"2 points"`
	case quantity.KindTemperature, quantity.KindDifference:
		return `"+2 °C"`
	case quantity.KindDuration:
		return `"1 min" or "10 %"`
	case quantity.KindNumber:
		return `"1 ` + r.Unit + `"`
	}
	return `"5 ` + r.Unit + `" or "10 %"`
}

// Responses returns the built-in responses in the order of a cook.
func Responses() []Response { return slices.Clone(builtIn) }

var builtIn = []Response{
	{ID: "time_to_core", Unit: "s", Kind: quantity.KindDuration, Target: true, Needs: []string{"core"},
		What: "time from heat on until the core reaches a target"},
	{ID: "core_at_pull", Unit: "°C", Kind: quantity.KindTemperature, Needs: []string{"core", "off_heat"},
		What: "core temperature when the piece leaves the heat"},
	{ID: "core_peak", Unit: "°C", Kind: quantity.KindTemperature, Needs: []string{"core"},
		What: "highest core temperature, rest included"},
	{ID: "carryover", Unit: "K", Kind: quantity.KindDifference, Needs: []string{"core", "off_heat"},
		What: "rise of the core after the piece leaves the heat"},
	{ID: "time_to_peak", Unit: "s", Kind: quantity.KindDuration, Needs: []string{"core", "off_heat"},
		What: "time from leaving the heat to the core's peak"},
	{ID: "heating_rate", Unit: "K/min", Kind: quantity.KindOther, Needs: []string{"core", "off_heat"},
		What: "mean rise of the core a minute, heat on to off heat"},
	{ID: "surface_at_serving", Unit: "°C", Kind: quantity.KindTemperature, Needs: []string{"surface", "served"},
		What: "surface temperature when the piece is served"},
	{ID: "face_spread", Unit: "K", Kind: quantity.KindDifference, Needs: []string{"depths"},
		What: "hottest minus coldest through the thickness"},
	{ID: "even_share", Unit: "%", Kind: quantity.KindPercent, Needs: []string{"depths"},
		What: "share of the thickness within 5 K of the core"},
	{ID: "cooking_loss", Unit: "%", Kind: quantity.KindPercent, Needs: []string{"raw", "off_heat"},
		What: "mass lost on the heat, in % of the raw mass"},
	{ID: "rest_loss", Unit: "%", Kind: quantity.KindPercent, Needs: []string{"raw", "off_heat", "rested"},
		What: "mass lost in the rest, in % of the raw mass"},
	{ID: "total_loss", Unit: "%", Kind: quantity.KindPercent, Needs: []string{"raw", "rested"},
		What: "mass lost from raw to the last weighing, in % of the raw mass"},
	{ID: "drip_loss", Unit: "%", Kind: quantity.KindPercent, Needs: []string{"raw", "drip"},
		What: "drip collected, in % of the raw mass"},
	{ID: "evaporation_loss", Unit: "%", Kind: quantity.KindPercent, Needs: []string{"raw", "off_heat", "drip"},
		What: "mass lost on the heat that did not drip, in % of the raw mass"},
	{ID: "steam_rate", Unit: "g/min", Kind: quantity.KindOther, Needs: []string{"mass"},
		What: "mass lost a minute on the heat, from the mass curve"},
	{ID: "steam_heat", Unit: "W", Kind: quantity.KindOther, Needs: []string{"mass"},
		What: "heat that the lost water carried off"},
	{ID: "pan_mean", Unit: "°C", Kind: quantity.KindTemperature, Needs: []string{"pan"},
		What: "mean pan temperature while the piece is on it"},
	{ID: "pan_sag", Unit: "K", Kind: quantity.KindDifference, Needs: []string{"pan"},
		What: "fall of the pan's temperature when the piece goes in"},
	{ID: "lethality", Unit: "log10", Kind: quantity.KindNumber, Needs: []string{"core"},
		What: "log10 reduction summed over the core's record"},
}

// ResponseNames lists the built-in names.
func ResponseNames() []string {
	names := make([]string, len(builtIn))
	for i, r := range builtIn {
		names[i] = r.ID
	}
	return names
}

// SplitResponse takes "time_to_core(60 °C)" apart into name and target text;
// target is empty when there are no brackets.
func SplitResponse(response string) (name, target string) {
	name, rest, found := strings.Cut(strings.TrimSpace(response), "(")
	if !found {
		return name, ""
	}
	return strings.TrimSpace(name), strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(rest), ")"))
}

// LookupResponse finds a built-in response by its name, with or without a
// target in brackets.
func LookupResponse(response string) (Response, bool) {
	name, _ := SplitResponse(response)
	for _, r := range builtIn {
		if r.ID == name {
			return r, true
		}
	}
	return Response{}, false
}
