package config

import _ "embed"

// Example is a complete settings file with a comment on every setting, for
// people to start from.
//
//go:embed example.yaml
var Example string
