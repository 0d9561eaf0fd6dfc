package web

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// erasing is an entrance where edda runs the fleet and people can be erased.
func erasing(t *testing.T) (e *entrance, erased *[]string) {
	erased = &[]string{}
	e = newEntrance(t, func(o *Options) {
		o.Erase = func(_ context.Context, actor, person string) (schedule.Erasure, error) {
			if person == "edda" && len(*erased) == 0 {
				return schedule.Erasure{}, &schedule.Error{Code: schedule.Conflict, Message: "they are the last conservator who can log in"}
			}
			*erased = append(*erased, actor+" erased "+person)
			return schedule.Erasure{Person: person, Number: 1}, nil
		}
	})
	e.lets("edda", runsFleet)
	e.lets("tom")
	return e, erased
}

// Somebody is erased by whoever runs the fleet, gave the password lately, and
// typed the short name; looking at the page erases nobody.
func TestErase(t *testing.T) {
	e, erased := erasing(t)
	b := e.in("edda")
	const page = "/people/tom/erase"
	if _, body := b.get("/people/tom"); !strings.Contains(body, page) {
		t.Error("the page of a person does not lead there")
	}
	res, body := b.get(page)
	status(t, "the page", res, 200, "")
	checkPage(t, page, body)
	if !strings.Contains(body, "cannot be undone") || len(*erased) > 0 {
		t.Errorf("looked at: %v, %s", *erased, body)
	}
	for _, typed := range []string{"", "Tom", "tom2", evil} {
		res, body = b.send(page, url.Values{"sure": {typed}})
		status(t, typed, res, 422, "")
		checkTame(t, page, body)
	}
	res, _ = b.send("/people/nobody/erase", url.Values{"sure": {"nobody"}})
	status(t, "nobody", res, http.StatusNotFound, "")
	res, body = b.send("/people/edda/erase", url.Values{"sure": {"edda"}})
	if status(t, "the last conservator", res, http.StatusConflict, ""); !strings.Contains(body, "last conservator") {
		t.Error(body)
	}
	e.desk.now = e.desk.now.Add(sureFor + time.Minute)
	res, _ = b.send(page, url.Values{"sure": {"tom"}})
	status(t, "without the password once more", res, 303, "/login/again?to=%2Fpeople%2Ftom%2Ferase")
	if _, body := b.get(page); strings.Contains(body, `name="sure"`) {
		t.Error("the form stands there before the password is given")
	}
	if len(*erased) > 0 {
		t.Fatalf("erased already: %v", *erased)
	}
	res, _ = b.send("/login/again", url.Values{"password": {goodWord}, "to": {page}})
	status(t, "the password", res, 303, page)
	res, _ = b.send(page, url.Values{"sure": {" tom "}})
	status(t, "erasing", res, 303, "/people?done=erased")
	if _, body := b.get("/people?done=erased"); !strings.Contains(body, "They are erased.") {
		t.Error(body)
	}
	res, _ = b.send("/people/edda/erase", url.Values{"sure": {"edda"}})
	status(t, "oneself", res, 303, "/login?ended=1")
	res, _ = b.get("/people")
	status(t, "afterwards", res, 303, "/login?to=%2Fpeople")
	if want := []string{"edda erased tom", "edda erased edda"}; !slices.Equal(*erased, want) {
		t.Errorf("erased %v, want %v", *erased, want)
	}
}

// Nobody else erases anybody, not themselves either.
func TestEraseNotAllowed(t *testing.T) {
	e, erased := erasing(t)
	b := e.in("tom")
	for _, path := range []string{"/people/tom/erase", "/people/edda/erase", "/people/nobody/erase"} {
		res, _ := b.get(path)
		status(t, path, res, 403, "")
		res, _ = b.send(path, url.Values{"sure": {"tom"}})
		status(t, path, res, 403, "")
	}
	if len(*erased) > 0 {
		t.Errorf("erased %v", *erased)
	}
}

// Somebody new gets another short name than somebody had who was erased.
func TestInvitedBesideErased(t *testing.T) {
	var e *entrance
	e = newEntrance(t, func(o *Options) {
		o.SaveFleet = func(ctx context.Context, actor string, part schedule.Fleet, check func(schedule.Fleet) error) error {
			if p := part.People[0].Slug; p == "una-marsh" || p == "una-marsh-2" {
				return &schedule.Error{Code: schedule.Conflict, Field: "slug", Message: "the short name was that of somebody who was erased"}
			}
			return e.desk.save(ctx, actor, part, check)
		}
	})
	e.lets("edda", runsFleet)
	b := e.in("edda")
	res, _ := b.send("/people/invite", url.Values{"name": {"Una Marsh"}, "email": {"una@example.org"}})
	status(t, "inviting", res, 303, "/people/una-marsh-3?done=invited")
}
