module thawline

go 1.26.0
