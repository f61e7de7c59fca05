package source

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"thawline/forecast/weather"
)

// keptWarnings are the warnings of a site as they are kept.
type keptWarnings struct {
	KnownAt time.Time         `json:"known_at"`
	List    []weather.Warning `json:"list"`
}

func warningsKey(siteID string) string { return "warnings " + siteID }

// StoreWarnings replaces the last good warnings of a site.
func (k *Keep) StoreWarnings(ctx context.Context, siteID string, w *weather.Warnings, at time.Time) error {
	return k.write(ctx, warningsKey(siteID), at, keptWarnings{w.KnownAt, w.List})
}

// LoadWarnings returns the last good warnings of a site, as they were.
func (k *Keep) LoadWarnings(ctx context.Context, siteID string) (weather.Warnings, error) {
	data, where, err := k.read(ctx, warningsKey(siteID))
	if err != nil {
		return weather.Warnings{}, err
	}
	var kept keptWarnings
	if err := json.Unmarshal(data, &kept); err != nil {
		return weather.Warnings{}, fmt.Errorf("the kept warnings %s are damaged (%w)", where, err)
	}
	return weather.Warnings{KnownAt: kept.KnownAt, List: kept.List}, nil
}
