package forecast

import "testing"

// One thing more never makes a season lose more, and of a season whose tank is small a
// second one saves what ran over.
func TestIfMore(t *testing.T) {
	in := demoPast(t)
	usual, ok, err := IfMore(in)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	past, err := LookBack(in)
	if err != nil {
		t.Fatal(err)
	}
	mean := 0.0
	for _, d := range past.Days {
		mean += d.MeanL
	}
	if usual.SapL < 0.9*mean || usual.SapL > 1.1*mean {
		t.Errorf("%.0f L by the hour, %.0f by days", usual.SapL, mean)
	}
	t.Logf("%+v %+v %+v %+v", usual, usual.Tank, usual.Helper, usual.Earlier)
	in.Site.Groups[2].TankL /= 4
	for i := range in.Visits {
		if v := &in.Visits[i]; v.Group == "lane" && v.VolumeL > in.Site.Groups[2].TankL {
			v.VolumeL, v.Note = in.Site.Groups[2].TankL, "full"
		}
	}
	small, _, err := IfMore(in)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v %+v %+v %+v", small, small.Tank, small.Helper, small.Earlier)
	if small.LossL <= usual.LossL || small.Tank == nil || small.Tank.Group != "lane" || small.Tank.SavesL < 0.5*small.LossL {
		t.Errorf("small tank: %+v %+v", small, small.Tank)
	}
}
