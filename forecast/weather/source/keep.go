package source

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"github.com/google/renameio/v2"

	"thawline/forecast/weather"
)

// Keep holds the last good bulletin of each site, or of each cell that sites
// share, and what was told there in the day and a half before it, in a folder or in
// a database.
type Keep struct {
	dir   string
	store Store // instead of dir
}

// Store is a database that keeps packed bulletins for several programs.
type Store interface {
	PutBulletin(ctx context.Context, key string, at time.Time, packed []byte) error
	Bulletin(ctx context.Context, key string) (packed []byte, found bool, err error)
	BulletinsGot(ctx context.Context, after time.Time) (map[string]time.Time, error)
}

// NewSharedKeep keeps bulletins in a database.
func NewSharedKeep(s Store) *Keep { return &Keep{store: s} }

// NewKeep makes the folder.
func NewKeep(dir string) (*Keep, error) {
	if err := writable(dir); err != nil {
		return nil, fmt.Errorf("folder %s for the last good forecasts can't be written (%w); make it writable or set data_dir to one that is", dir, err)
	}
	return &Keep{dir: dir}, nil
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
	GotAt      time.Time        `json:"got_at"` // by the clock of the question
	Course     keptSeries       `json:"course"`
	Members    []keptSeries     `json:"members,omitempty"`
	Earlier    []keptTold       `json:"earlier,omitempty"`
	ZoneName   string           `json:"zone,omitempty"`
	ElevationM *float64         `json:"elevation_m"`
	Credits    []weather.Credit `json:"credits"`
	Remarks    []weather.Remark `json:"remarks,omitempty"`
}

// keptTold is a course that was told before.
type keptTold struct {
	Source   string     `json:"source"`
	IssuedAt time.Time  `json:"issued_at"`
	Course   keptSeries `json:"course"`
}

// mostKeptHours is far more than any bulletin has.
const mostKeptHours = 24 * 400

// path makes any site id a file name of its own.
func (k *Keep) path(siteID string) string {
	return filepath.Join(k.dir, "last-"+url.QueryEscape(siteID)+".json")
}

// Store replaces the last good bulletin of a site, got at a moment, whole or not
// at all.
func (k *Keep) Store(ctx context.Context, siteID string, b *weather.Bulletin, at time.Time) error {
	kept := keptBulletin{GotAt: at, Source: b.Source, IssuedAt: b.IssuedAt, FetchedAt: b.FetchedAt, Course: packSeries(&b.Course),
		ZoneName:   b.ZoneName,
		ElevationM: orNull(b.ElevationM), Credits: b.Credits, Remarks: b.Remarks}
	for i := range b.Members {
		kept.Members = append(kept.Members, packSeries(&b.Members[i]))
	}
	for i := range b.Earlier {
		told := &b.Earlier[i]
		kept.Earlier = append(kept.Earlier, keptTold{told.Source, told.IssuedAt, packSeries(&told.Course)})
	}
	return k.write(ctx, siteID, at, kept)
}

// write keeps anything under a key.
func (k *Keep) write(ctx context.Context, key string, at time.Time, what any) error {
	data, err := json.Marshal(what)
	if err != nil {
		return fmt.Errorf("pack what is kept of %s: %w", key, err)
	}
	if k.store != nil {
		var packed bytes.Buffer
		z := gzip.NewWriter(&packed)
		_, err := z.Write(data)
		if err = errors.Join(err, z.Close()); err != nil {
			return fmt.Errorf("pack what is kept of %s: %w", key, err)
		}
		return k.store.PutBulletin(ctx, key, at, packed.Bytes())
	}
	if err := renameio.WriteFile(k.path(key), data, 0o600); err != nil {
		return fmt.Errorf("keep the forecast of %s: %w", key, err)
	}
	return nil
}

// Load returns the last good bulletin of a site, and when it was got.
func (k *Keep) Load(ctx context.Context, siteID string) (b weather.Bulletin, at time.Time, err error) {
	data, where, err := k.read(ctx, siteID)
	if err != nil {
		return b, at, err
	}
	var kept keptBulletin
	err = json.Unmarshal(data, &kept)
	if err == nil && (kept.Course.Hours <= 0 || kept.Course.Hours > mostKeptHours) {
		err = fmt.Errorf("it holds %d hours", kept.Course.Hours)
	}
	if err != nil {
		return b, at, fmt.Errorf("the kept forecast %s is damaged (%w); it will be replaced by the next good one", where, err)
	}
	b = weather.Bulletin{Source: kept.Source, IssuedAt: kept.IssuedAt, FetchedAt: kept.FetchedAt, Course: kept.Course.unpack(),
		ZoneName:   kept.ZoneName,
		ElevationM: math.NaN(), Credits: kept.Credits, Remarks: kept.Remarks, Errors: &weather.UsualErrors}
	if kept.ElevationM != nil {
		b.ElevationM = *kept.ElevationM
	}
	for i := range kept.Members {
		b.Members = append(b.Members, kept.Members[i].unpack())
	}
	for i := range kept.Earlier {
		if told := &kept.Earlier[i]; told.Course.Hours > 0 && told.Course.Hours <= mostKeptHours {
			b.Earlier = append(b.Earlier, weather.Told{Source: told.Source, IssuedAt: told.IssuedAt, Course: told.Course.unpack()})
		}
	}
	return b, kept.GotAt, nil
}

// read gives what is kept, as JSON, and what to call it.
func (k *Keep) read(ctx context.Context, siteID string) (data []byte, where string, err error) {
	none := fmt.Errorf("no earlier forecast of %s is kept", inWords(siteID))
	if k.store == nil {
		data, err = os.ReadFile(k.path(siteID))
		if errors.Is(err, fs.ErrNotExist) {
			return nil, "", none
		}
		if err != nil {
			return nil, "", fmt.Errorf("read the kept forecast of %s: %w", inWords(siteID), err)
		}
		return data, k.path(siteID), nil
	}
	packed, found, err := k.store.Bulletin(ctx, siteID)
	if err != nil {
		return nil, "", err
	}
	if !found {
		return nil, "", none
	}
	z, err := gzip.NewReader(bytes.NewReader(packed))
	if err == nil {
		data, err = io.ReadAll(io.LimitReader(z, mostKeptBytes))
	}
	if err != nil {
		data = nil // as any other damage
	}
	return data, "of " + siteID, nil
}

const mostKeptBytes = 64 << 20

// gotAfter says which keys were got after a moment, by whichever program; nothing
// where bulletins are kept in a folder.
func (k *Keep) gotAfter(ctx context.Context, moment time.Time) (map[string]time.Time, error) {
	if k.store == nil {
		return nil, nil
	}
	return k.store.BulletinsGot(ctx, moment)
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
