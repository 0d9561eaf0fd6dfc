package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"

	"endshake/daemon/trend"
)

type trendCmd struct {
	File        string    `arg:"" help:"CSV file with the columns point,group,hours,value and, if wanted, sd,event (fitted or repaired); - is standard input."`
	Unit        string    `help:"Unit of the values: mm, um, in or thou; with --no-physics any word." default:"mm"`
	Limit       string    `help:"Size that must not be passed." placeholder:"SIZE"`
	At          []float64 `help:"Hours for which a reading is forecast; may be given more than once." placeholder:"HOURS"`
	Gauge       string    `help:"Standard uncertainty of a reading without sd; otherwise 0.03 mm, or with --no-physics a hundredth of the usual change." placeholder:"SIZE"`
	KnownStart  bool      `help:"The first row of each point is a known size, not a reading."`
	NoPhysics   bool      `help:"Learn from the file alone: the values are no lengths, but something else that grows."`
	JSON        bool      `name:"json" help:"Print JSON; rates are in the unit per 1000 hours, what does not exist is null."`
	Chart       string    `help:"Draw the points into a file that ends in .svg, .png or .pdf; of many, the most pressing." placeholder:"OUT"`
	TrackRecord bool      `help:"Say how well the file's own readings would have been forecast, beside a straight line."`
	Folds       int       `help:"Parts that the points are dealt into for the track record." default:"4"`
}

// Help says what the figures are.
func (c *trendCmd) Help() string {
	return "Says of every point of a file how far it has worn, how fast it goes, in the unit per 1000 hours, when it is likely to reach the limit, and when to measure again. Needs no database."
}

// Run answers a file.
func (c *trendCmd) Run(ctx context.Context, out io.Writer) error {
	kind := strings.ToLower(filepath.Ext(c.Chart))
	if c.Chart != "" && kind != ".svg" && kind != ".png" && kind != ".pdf" {
		return fmt.Errorf("--chart %q must end in .svg, .png or .pdf", c.Chart)
	}
	in, name := io.Reader(os.Stdin), "standard input"
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return err
		}
		defer f.Close()
		in, name = f, c.File
	}
	// A long file is held, and little besides it should be: collecting four times
	// as often costs a few seconds in a hundred.
	defer debug.SetGCPercent(debug.SetGCPercent(25))
	r, err := trend.Run(ctx, in, trend.Options{
		Name: name, Unit: c.Unit, Limit: c.Limit, Gauge: c.Gauge, At: c.At, KnownStart: c.KnownStart,
		Plain: c.NoPhysics, TrackRecord: c.TrackRecord, Folds: c.Folds,
	})
	if err != nil {
		return err
	}
	if c.JSON {
		err = r.WriteJSON(ctx, out)
	} else {
		err = r.WriteText(ctx, out)
	}
	if err != nil || c.Chart == "" {
		return err
	}
	if err := c.draw(ctx, r, kind); err != nil {
		return fmt.Errorf("--chart: the answer is printed, the picture is not drawn: %w", err)
	}
	return nil
}

// draw writes the picture.
func (c *trendCmd) draw(ctx context.Context, r *trend.Report, kind string) error {
	picture, err := r.Picture(ctx)
	if err != nil {
		return err
	}
	var data []byte
	switch kind {
	case ".svg":
		data = []byte(picture.SVG())
	case ".png":
		data, err = picture.PNG(2)
	default:
		data, err = picture.PDF()
	}
	if err != nil {
		return err
	}
	return os.WriteFile(c.Chart, data, 0o644)
}
