package source

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"github.com/google/renameio/v2"

	"thawline/forecast/weather"
)

// Keep holds the last good bulletin of each site on disk.
type Keep struct{ dir string }

// NewKeep makes the folder.
func NewKeep(dir string) (*Keep, error) {
	if err := writable(dir); err != nil {
		return nil, fmt.Errorf("folder %s for the last good forecasts can't be written (%w); make it writable or set data_dir to one that is", dir, err)
	}
	return &Keep{dir}, nil
}

type keptSeries struct {
	Start   time.Time             `json:"start"`
	Hours   int                   `json:"hours"`
	Columns map[string][]*float64 `json:"columns"` // null for a gap
}

type keptBulletin struct {
	Source     string           `json:"source"`
	IssuedAt   time.Time        `json:"issued_at"`
	FetchedAt  time.Time        `json:"fetched_at"`
	Course     keptSeries       `json:"course"`
	Members    []keptSeries     `json:"members,omitempty"`
	ZoneName   string           `json:"zone,omitempty"`
	ElevationM *float64         `json:"elevation_m"`
	Credits    []weather.Credit `json:"credits"`
	Notes      []string         `json:"notes,omitempty"`
}

// mostKeptHours is far more than any bulletin has.
const mostKeptHours = 24 * 400

// path makes any site id a file name of its own.
func (k *Keep) path(siteID string) string {
	return filepath.Join(k.dir, "last-"+url.QueryEscape(siteID)+".json")
}

// Store replaces the last good bulletin of a site, whole or not at all.
func (k *Keep) Store(siteID string, b *weather.Bulletin) error {
	kept := keptBulletin{Source: b.Source, IssuedAt: b.IssuedAt, FetchedAt: b.FetchedAt, Course: packSeries(&b.Course), ZoneName: b.ZoneName,
		ElevationM: orNull(b.ElevationM), Credits: b.Credits, Notes: b.Notes}
	for i := range b.Members {
		kept.Members = append(kept.Members, packSeries(&b.Members[i]))
	}
	data, err := json.Marshal(kept)
	if err != nil {
		return fmt.Errorf("pack the forecast of %s: %w", siteID, err)
	}
	if err := renameio.WriteFile(k.path(siteID), data, 0o600); err != nil {
		return fmt.Errorf("keep the forecast of %s: %w", siteID, err)
	}
	return nil
}

// Load returns the last good bulletin of a site.
func (k *Keep) Load(siteID string) (weather.Bulletin, error) {
	data, err := os.ReadFile(k.path(siteID))
	if errors.Is(err, fs.ErrNotExist) {
		return weather.Bulletin{}, fmt.Errorf("no earlier forecast of %s is kept", siteID)
	}
	if err != nil {
		return weather.Bulletin{}, fmt.Errorf("read the kept forecast of %s: %w", siteID, err)
	}
	var kept keptBulletin
	err = json.Unmarshal(data, &kept)
	if err == nil && (kept.Course.Hours <= 0 || kept.Course.Hours > mostKeptHours) {
		err = fmt.Errorf("it holds %d hours", kept.Course.Hours)
	}
	if err != nil {
		return weather.Bulletin{}, fmt.Errorf("the kept forecast %s is damaged (%w); it will be replaced by the next good one", k.path(siteID), err)
	}
	b := weather.Bulletin{Source: kept.Source, IssuedAt: kept.IssuedAt, FetchedAt: kept.FetchedAt, Course: kept.Course.unpack(), ZoneName: kept.ZoneName,
		ElevationM: math.NaN(), Credits: kept.Credits, Notes: kept.Notes}
	if kept.ElevationM != nil {
		b.ElevationM = *kept.ElevationM
	}
	for i := range kept.Members {
		b.Members = append(b.Members, kept.Members[i].unpack())
	}
	return b, nil
}

func packSeries(s *weather.Series) keptSeries {
	k := keptSeries{Start: s.Start(), Hours: s.Hours(), Columns: map[string][]*float64{}}
	for _, v := range weather.Variables() {
		if !s.Has(v) {
			continue
		}
		col := make([]*float64, s.Hours())
		for i := range col {
			col[i] = orNull(s.At(v, i))
		}
		k.Columns[v.String()] = col
	}
	return k
}

func (k *keptSeries) unpack() weather.Series {
	s := weather.NewSeries(k.Start, k.Hours)
	for _, v := range weather.Variables() {
		for i, x := range k.Columns[v.String()] {
			if x != nil && i < k.Hours {
				s.Col(v)[i] = *x
			}
		}
	}
	return s
}

func orNull(x float64) *float64 {
	if math.IsNaN(x) {
		return nil
	}
	return &x
}
