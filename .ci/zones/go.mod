module thawline/zones

go 1.25

require (
	github.com/ringsaturn/tzf v1.0.2
	github.com/ringsaturn/tzf-rel-lite v0.0.2025-b2
	google.golang.org/protobuf v1.36.12
)
