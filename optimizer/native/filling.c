/* What it costs at least that sites are not full.
 *
 * A bound's multipliers pay for what sites hold. A choice alone looks cheap that its site is paid
 * for; a set of them is cheap only if it fills the site as well as the relaxation did. What is at
 * a site by now and the best that could still come to it tell what of `empty` stays; a site that
 * no part comes to costs `idle`. Both add to what the slots cost by themselves, as long as a slot
 * that comes for a site's sake pays what its choice there costs more than its cheapest. */

#include <math.h>
#include <stdlib.h>

#include "partial.h"

/* The best that comes to a site is looked for exactly in so many steps, among so many slots. */
#define STEPS 200
#define FEW 20

/* Whether anything is to be told of a site. */
static int counts(const Work *w, const Partial *at, int site)
{
    if (w->problem->n_kinds > MOST_KINDS)
        return 0;
    return at->used[site] ? at->empty[site] > 0.0 : w->costs->idle[site] > 0.0;
}

double brought(const Work *w, const Partial *at, int c, int coming)
{
    const Costs *costs = w->costs;
    double sum = costs->filling[c];
    for (int e = costs->mates[c]; e < costs->mates[c + 1]; e++) {
        const int other = at->chosen[costs->mate_slot[e]];
        if (other == costs->mate[e])
            sum += costs->together[e];
        else if (coming && other < 0 && costs->together[e] > 0.0)
            sum += 0.5 * costs->together[e];
    }
    return sum;
}

/* The slots that could come to each site, and what they bring at most. */
static void coming(Work *w, const Partial *at)
{
    const Problem *p = w->problem;
    const int n_k = p->n_kinds;
    for (int site = 0; site < p->n_sites; site++) {
        w->n_items[site] = 0;
        w->seen[site] = -1;
    }
    for (int k = 0; k < at->n_open; k++)
        for (int i = at->begin[k]; i < at->begin[k + 1]; i++) {
            const int c = at->list[i], site = p->site[c];
            if (!counts(w, at, site))
                continue;
            const double brings = brought(w, at, c, 1) - (at->full[i] - at->low[k]);
            w->brought[i] = brings;
            if (w->seen[site] < 0)
                w->seen[site] = at->n_open;
            if (brings <= 0.0)
                continue;
            const int new = w->seen[site] != k;
            if (new)
                w->n_items[site]++;
            w->seen[site] = k;
            const size_t q = (size_t)site * p->n_slots + w->n_items[site] - 1;
            if (new || brings > w->brings[q])
                w->brings[q] = brings;
            for (int j = 0; j < n_k; j++) {
                const double take = p->capacity_use[c * n_k + j];
                if (new || take < w->takes[q * n_k + j])
                    w->takes[q * n_k + j] = take;
            }
            w->item[i] = (int32_t)q;
        }
}

/* What comes to one site, in the order of what it brings for what it takes up of one kind. */
typedef struct {
    const double *brings, *takes;
    int n, n_k, kind, order[MOST_SLOTS];
    double best, enough; /* the most found, and what there need be no more of */
    int steps;
} Filling;

/* The most that slots from the q-th in order on bring in the room there is of one kind, parts of
 * slots allowed; `rate` is what more room would be worth. */
static double at_most(const Filling *f, int q, double room, double *rate)
{
    double sum = 0.0;
    *rate = 0.0;
    for (; q < f->n; q++) {
        const double bring = f->brings[f->order[q]], take = f->takes[f->order[q] * f->n_k + f->kind];
        if (take > room) {
            *rate = bring / take;
            return sum + *rate * room;
        }
        sum += bring;
        room -= take;
    }
    return sum;
}

static void sorted_by(Filling *f, int kind)
{
    f->kind = kind;
    for (int q = 0; q < f->n; q++) {
        const double bring = f->brings[q], take = f->takes[q * f->n_k + kind];
        int j = q;
        for (; j > 0; j--) {
            const int before = f->order[j - 1];
            if (!(f->brings[before] * take < bring * f->takes[before * f->n_k + kind]))
                break;
            f->order[j] = before;
        }
        f->order[j] = q;
    }
}

/* The most that slots from the q-th in order on bring together with `sum`, none of them in part. */
static void packed(Filling *f, int q, double sum, const double *room)
{
    if (sum > f->best)
        f->best = sum;
    for (; q < f->n; q++) {
        double rate, left[MOST_KINDS];
        if (++f->steps > STEPS || f->best >= f->enough
            || sum + at_most(f, q, room[f->kind], &rate) <= f->best)
            return;
        const double *takes = f->takes + f->order[q] * f->n_k;
        int fits = 1;
        for (int j = 0; j < f->n_k; j++) {
            left[j] = room[j] - takes[j];
            fits &= left[j] >= 0.0;
        }
        if (fits)
            packed(f, q + 1, sum + f->brings[f->order[q]], left);
    }
}

/* What it costs that so much of a site is lacking. */
static double owed(const Work *w, const Partial *at, int site, double lack)
{
    lack = lack > 0.0 ? lack : 0.0;
    return at->used[site] || lack < w->costs->idle[site] ? lack : w->costs->idle[site];
}

/* What it costs at least that one site is not full. */
static double short_of(Work *w, const Partial *at, int site)
{
    const Problem *p = w->problem;
    const int n_k = p->n_kinds;
    const size_t first = (size_t)site * p->n_slots;
    Filling f = {w->brings + first, w->takes + first * n_k, w->n_items[site], n_k};
    double room[MOST_KINDS], most = 0.0, rate;
    for (int q = 0; q < f.n; q++)
        most += f.brings[q];
    w->rate[site] = 0.0;
    w->kind[site] = -1;
    for (int j = 0; j < n_k; j++) {
        double all = 0.0;
        room[j] = at->room[site * n_k + j] + ROOM;
        for (int q = 0; q < f.n; q++)
            all += f.takes[q * n_k + j];
        if (all <= room[j])
            continue;
        sorted_by(&f, j);
        const double each = at_most(&f, 0, room[j], &rate);
        if (each < most || w->kind[site] < 0) {
            most = each;
            w->rate[site] = rate;
            w->kind[site] = j;
        }
    }
    w->lack[site] = at->empty[site] - most;
    if (w->kind[site] >= 0 && f.n <= FEW) {
        if (f.kind != w->kind[site])
            sorted_by(&f, w->kind[site]);
        f.enough = at->empty[site];
        packed(&f, 0, 0.0, room);
        most = f.steps > STEPS ? most : f.best;
    }
    return owed(w, at, site, at->empty[site] - most);
}

double unfilled(Work *w, const Partial *at)
{
    const Problem *p = w->problem;
    double all = 0.0;
    coming(w, at);
    for (int site = 0; site < p->n_sites; site++) {
        w->unfilled[site] = 0.0;
        if (!counts(w, at, site))
            continue;
        if (w->seen[site] >= 0 || at->used[site])
            w->unfilled[site] = short_of(w, at, site);
        else /* nothing can come */
            w->unfilled[site] = w->costs->idle[site];
        all += w->unfilled[site];
    }
    return all;
}

/* What room for a choice is worth at its site. */
static double room_for(const Work *w, int site, const double *takes)
{
    return w->kind[site] < 0 ? 0.0 : w->rate[site] * takes[w->kind[site]];
}

/* What its sites are short of without the k-th open slot, in all and told of each. */
static double without(Work *w, const Partial *at, int k)
{
    const Problem *p = w->problem;
    double all = 0.0;
    for (int i = at->begin[k]; i < at->begin[k + 1]; i++) {
        const int site = p->site[at->list[i]];
        w->seen[site] = 0;
        w->gain[site] = w->loss[site] = 0.0;
    }
    for (int i = at->begin[k]; i < at->begin[k + 1]; i++) {
        const int site = p->site[at->list[i]];
        if (!counts(w, at, site) || w->brought[i] <= 0.0 || w->seen[site])
            continue;
        const size_t q = (size_t)w->item[i];
        const double gain = w->brings[q] - room_for(w, site, w->takes + q * p->n_kinds);
        w->seen[site] = 1;
        w->gain[site] = gain > 0.0 ? gain : 0.0;
        const double each = owed(w, at, site, w->lack[site] + w->gain[site]) - w->unfilled[site];
        w->loss[site] = each > 0.0 ? each : 0.0;
        all += w->loss[site];
    }
    return all;
}

void weighed_up(Work *w, Partial *at, int k)
{
    const Problem *p = w->problem;
    const double elsewhere = without(w, at, k);
    w->most_more[k] = -INFINITY;
    for (int i = at->begin[k]; i < at->begin[k + 1]; i++) {
        const int c = at->list[i], site = p->site[c];
        double more = at->full[i] - at->low[k];
        if (counts(w, at, site)) {
            const double takes = room_for(w, site, p->capacity_use + (size_t)c * p->n_kinds);
            const double lack = w->lack[site] + w->gain[site] - (w->brought[i] - takes);
            /* with the choice there the site is in use: what is lacking beside it is paid */
            more = lack > more ? lack : more;
            more = more > w->unfilled[site] ? more : w->unfilled[site];
            more -= w->unfilled[site] + w->loss[site];
        }
        w->more[i] = more + elsewhere;
        w->most_more[k] = w->more[i] > w->most_more[k] ? w->more[i] : w->most_more[k];
    }
}

int set_up_filling(Work *w)
{
    const Problem *p = w->problem;
    const size_t n_s = (size_t)p->n_slots + 1, n_u = (size_t)p->n_sites + 1;
    const size_t n_c = (size_t)p->n_choices, n_k = (size_t)p->n_kinds;
    w->unfilled = malloc(sizeof(double) * n_u * (5 + n_s * (1 + n_k)));
    w->n_items = malloc(sizeof(int32_t) * (3 * n_u + n_c));
    w->brought = malloc(sizeof(double) * (2 * n_c + n_s));
    if (!w->unfilled || !w->n_items || !w->brought)
        return 0;
    w->lack = w->unfilled + n_u;
    w->rate = w->lack + n_u;
    w->gain = w->rate + n_u;
    w->loss = w->gain + n_u;
    w->brings = w->loss + n_u;
    w->takes = w->brings + n_u * n_s;
    w->kind = w->n_items + n_u;
    w->seen = w->kind + n_u;
    w->item = w->seen + n_u;
    w->more = w->brought + n_c;
    w->most_more = w->more + n_c;
    return 1;
}

void tear_down_filling(Work *w)
{
    free(w->unfilled);
    free(w->n_items);
    free(w->brought);
}
