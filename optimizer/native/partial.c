#include "partial.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void *placed(char *space, size_t *at, size_t bytes)
{
    void *here = space ? space + *at : NULL;
    *at += (bytes + 15) / 16 * 16;
    return here;
}

/* Bytes in all; without space only these are told. */
static size_t walked(const Problem *p, Partial *at, char *space)
{
    size_t end = 0;
    const size_t n = (size_t)p->n_choices;
    at->slots = placed(space, &end, sizeof(int32_t) * p->n_slots);
    at->begin = placed(space, &end, sizeof(int32_t) * (p->n_slots + 1));
    at->list = placed(space, &end, sizeof(int32_t) * n);
    at->ahead = placed(space, &end, sizeof(double) * n);
    at->full = placed(space, &end, sizeof(double) * n);
    at->plain = placed(space, &end, sizeof(double) * n);
    at->whole = placed(space, &end, sizeof(double) * n);
    at->low = placed(space, &end, sizeof(double) * p->n_slots);
    at->bare_low = placed(space, &end, sizeof(double) * p->n_slots);
    at->bare_high = placed(space, &end, sizeof(double) * p->n_slots);
    at->lightest = placed(space, &end, sizeof(double) * p->n_slots * p->n_limits);
    at->heaviest = placed(space, &end, sizeof(double) * p->n_slots * p->n_limits);
    at->stale = placed(space, &end, p->n_slots);
    at->used = placed(space, &end, p->n_sites);
    at->room = placed(space, &end, sizeof(double) * p->n_sites * p->n_kinds);
    at->empty = placed(space, &end, sizeof(double) * p->n_sites);
    at->form = placed(space, &end, sizeof(double) * p->n_limits);
    at->top = placed(space, &end, sizeof(double) * p->n_limits);
    at->binding = placed(space, &end, sizeof(int32_t) * p->n_limits);
    at->chosen = placed(space, &end, sizeof(int32_t) * p->n_slots);
    return end;
}

size_t partial_bytes(const Problem *p)
{
    Partial any;
    return walked(p, &any, NULL);
}

void lay_out(const Problem *p, Partial *at, char *space)
{
    walked(p, at, space);
}

/* The most that anything can bring to every limit. */
static void topmost(const Work *w, Partial *at)
{
    const Problem *p = w->problem;
    const int n_l = p->n_limits;
    at->n_binding = n_l;
    for (int f = 0; f < n_l; f++) {
        at->binding[f] = f;
        at->top[f] = 0.0;
        w->use_top[f] = 0.0;
        for (int site = 0; site < p->n_sites; site++) {
            const double each = p->use_limit[site * n_l + f];
            at->top[f] += each > 0.0 ? each : 0.0;
            w->use_top[f] = each > w->use_top[f] ? each : w->use_top[f];
        }
        for (int k = 0; k < at->n_open; k++) {
            double *top = w->slot_top + at->slots[k] * n_l + f;
            *top = -INFINITY;
            for (int i = at->begin[k]; i < at->begin[k + 1]; i++) {
                const double each = p->limit[at->list[i] * n_l + f];
                *top = each > *top ? each : *top;
            }
            at->top[f] += *top;
        }
        for (int pair = 0; pair < p->n_pairs; pair++)
            at->top[f] += p->pair_limit_top[pair * n_l + f];
    }
}

static int lighter(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

/* How many slots fit each site together: the lightest ones, as their open choices are. */
static void counted(const Work *w, const Partial *at)
{
    const Problem *p = w->problem;
    double weight[MOST_SLOTS];
    for (int site = 0; site < p->n_sites; site++) {
        w->fit_at[site] = at->n_open;
        for (int j = 0; j < p->n_kinds; j++) {
            int n = 0, fit = 0;
            double sum = 0.0;
            for (int k = 0; k < at->n_open; k++) {
                weight[n] = INFINITY;
                for (int i = at->begin[k]; i < at->begin[k + 1]; i++) {
                    const double each = p->capacity_use[at->list[i] * p->n_kinds + j];
                    if (p->site[at->list[i]] == site)
                        weight[n] = each < weight[n] ? each : weight[n];
                }
                n += weight[n] < INFINITY;
            }
            qsort(weight, n, sizeof(double), lighter);
            while (fit < n && (sum += weight[fit]) <= 1.0 + ROOM)
                fit++;
            w->fit_at[site] = fit < w->fit_at[site] ? fit : w->fit_at[site];
        }
    }
}

void begin(const Work *w, const Asked *asked, Partial *at)
{
    const Problem *p = w->problem;
    int n = 0;
    at->n_open = p->n_slots;
    at->cost = w->costs->constant;
    at->paid = p->constant;
    at->total = at->pending = 0.0;
    for (int slot = 0; slot < p->n_slots; slot++) {
        at->chosen[slot] = -1;
        at->slots[slot] = slot;
        at->begin[slot] = n;
        at->stale[slot] = 1;
        for (int c = p->first[slot]; c < p->first[slot + 1]; c++)
            if (asked->open[c]) {
                at->list[n] = c;
                at->ahead[n] = w->costs->choice[c];
                at->plain[n++] = p->cost[c];
            }
    }
    at->begin[p->n_slots] = n;
    memset(at->used, 0, p->n_sites);
    for (int k = 0; k < p->n_sites * p->n_kinds; k++)
        at->room[k] = 1.0;
    memcpy(at->empty, w->costs->empty, sizeof(double) * p->n_sites);
    for (int f = 0; f < p->n_limits; f++)
        at->form[f] = asked->least_form[f];
    for (int pair = 0; pair < p->n_pairs; pair++) {
        at->pending += p->pair_bottom[pair];
        for (int f = 0; f < p->n_limits; f++)
            at->form[f] += p->pair_limit_bottom[pair * p->n_limits + f];
    }
    topmost(w, at);
    counted(w, at);
}

/* The least of what the k-th open slot's choices cost, and the most without multipliers. */
static void spanned(Partial *at, int k)
{
    double low = INFINITY, bare_low = INFINITY, bare_high = -INFINITY;
    for (int i = at->begin[k]; i < at->begin[k + 1]; i++) {
        const double full = at->full[i], whole = at->whole[i];
        low = full < low ? full : low;
        bare_low = whole < bare_low ? whole : bare_low;
        bare_high = whole > bare_high ? whole : bare_high;
    }
    at->low[k] = low;
    at->bare_low[k] = bare_low;
    at->bare_high[k] = bare_high;
}

/* The least and the most of what the k-th open slot's choices bring to limits. */
static void weighed(const Problem *p, Partial *at, int k)
{
    const int n_l = p->n_limits;
    for (int m = 0; m < at->n_binding; m++) {
        const int f = at->binding[m];
        double lightest = INFINITY, heaviest = -INFINITY;
        for (int i = at->begin[k]; i < at->begin[k + 1]; i++) {
            const double each = p->limit[at->list[i] * n_l + f];
            lightest = each < lightest ? each : lightest;
            heaviest = each > heaviest ? each : heaviest;
        }
        at->lightest[k * n_l + f] = lightest;
        at->heaviest[k * n_l + f] = heaviest;
    }
    at->stale[k] = 0;
}

/* Leave out choices that no longer fit their site, and count the slots that could still be at
 * each. 0 if a slot has no choice left. */
static int fitting(Work *w, Partial *at)
{
    const Problem *p = w->problem;
    const int n_k = p->n_kinds;
    int n = 0;
    for (int site = 0; site < p->n_sites; site++) {
        w->slots_at[site] = 0;
        w->last_at[site] = -1;
        w->paid_at[site] = w->most_at[site] = 0.0;
    }
    for (int k = 0; k < at->n_open; k++) {
        const int from = at->begin[k], to = at->begin[k + 1];
        at->begin[k] = n;
        for (int i = from; i < to; i++) {
            const int c = at->list[i], site = p->site[c];
            int fits = at->ahead[i] < INFINITY;
            for (int j = 0; j < n_k; j++)
                fits &= p->capacity_use[c * n_k + j] <= at->room[site * n_k + j] + ROOM;
            if (!fits)
                continue;
            at->list[n] = c;
            at->ahead[n] = at->ahead[i];
            at->plain[n++] = at->plain[i];
            if (w->last_at[site] != k) {
                w->last_at[site] = k;
                const double share = w->costs->share[c]; /* of all its choices here */
                w->slots_at[site]++;
                w->paid_at[site] += share;
                w->most_at[site] = share > w->most_at[site] ? share : w->most_at[site];
            }
        }
        if (n == at->begin[k])
            return 0;
        at->stale[k] |= n - at->begin[k] != to - from;
    }
    at->begin[at->n_open] = n;
    return 1;
}

/* What choices cost, the sites not yet in use shared out among the slots that could be there: all
 * of them together pay no more for a site than it costs. */
static void shared_out(Work *w, Partial *at)
{
    const Problem *p = w->problem;
    for (int site = 0; site < p->n_sites; site++) {
        w->part[site] = w->bare_part[site] = 0.0;
        if (at->used[site] || !w->slots_at[site])
            continue;
        const int all = w->slots_at[site], fit = w->fit_at[site], n = fit < all ? fit : all;
        if (!n)
            continue;
        const double most = n * w->most_at[site], paid = w->paid_at[site];
        const double left = w->costs->use[site] - (paid < most ? paid : most);
        if (left > 0.0)
            w->part[site] = left / n;
        if (p->use_cost[site] > 0.0)
            w->bare_part[site] = p->use_cost[site] / n;
    }
    for (int k = 0; k < at->n_open; k++) {
        for (int i = at->begin[k]; i < at->begin[k + 1]; i++) {
            const int c = at->list[i], site = p->site[c];
            const double share = at->used[site] ? 0.0 : w->costs->share[c];
            at->full[i] = at->ahead[i] + share + w->part[site];
            at->whole[i] = at->plain[i] + w->bare_part[site];
        }
        spanned(at, k);
    }
}

/* What sites not in use yet, but with choices left, could save of every limit. */
static void saved(Work *w, const Partial *at, double *spare)
{
    const Problem *p = w->problem;
    for (int site = 0; site < p->n_sites; site++)
        if (w->slots_at[site] && !at->used[site])
            for (int f = 0; f < p->n_limits; f++) {
                const double each = p->use_limit[site * p->n_limits + f];
                spare[f] -= each < 0.0 ? each : 0.0;
            }
}

/* Limits that nothing below can break any more are no longer looked at. */
static void slackened(const Problem *p, Partial *at)
{
    int n = 0;
    for (int m = 0; m < at->n_binding; m++) {
        const int f = at->binding[m];
        if (at->top[f] > p->upper[f])
            at->binding[n++] = f;
    }
    at->n_binding = n;
}

/* What every binding limit has left beside the lightest choices; 0 if one has not enough. */
static int spared(Work *w, const Partial *at, double *spare)
{
    const Problem *p = w->problem;
    const int n_l = p->n_limits, n = at->n_binding;
    for (int f = 0; f < n_l; f++)
        spare[f] = p->upper[f] + ROOM - at->form[f];
    if (p->use_saves)
        saved(w, at, spare);
    memset(w->exposed, 0, at->n_open);
    for (int m = 0; m < n; m++) {
        const int f = at->binding[m];
        for (int k = 0; k < at->n_open; k++)
            spare[f] -= at->lightest[k * n_l + f];
        if (spare[f] < 0.0)
            return 0;
        for (int k = 0; k < at->n_open; k++) {
            const double most = at->heaviest[k * n_l + f] - at->lightest[k * n_l + f];
            w->exposed[k] |= most + w->use_top[f] > spare[f];
        }
    }
    return 1;
}

/* Whether a choice of the k-th open slot leaves every binding limit enough. */
static int spares(const Work *w, const Partial *at, const double *spare, int k, int c)
{
    const Problem *p = w->problem;
    const int n_l = p->n_limits, site = p->site[c];
    const double *lightest = at->lightest + k * n_l;
    for (int m = 0; m < at->n_binding; m++) {
        const int f = at->binding[m];
        double opens = at->used[site] ? 0.0 : p->use_limit[site * n_l + f];
        opens = opens > 0.0 ? opens : 0.0; /* what it saves is counted already */
        if (p->limit[c * n_l + f] - lightest[f] + opens > spare[f])
            return 0;
    }
    return 1;
}

/* Close choices of the k-th open slot, which begin at `n` from now on. Returns where they end;
 * `again` where one broke a limit: the cheapest may have been among these. */
static int kept(const Work *w, Partial *at, const double *spare, int k, int n, double within,
                double bare_within, int *again)
{
    const int from = at->begin[k], to = at->begin[k + 1], limited = w->exposed[k];
    at->begin[k] = n;
    if (n == from && w->most_more[k] <= within && at->bare_high[k] <= bare_within && !limited)
        return to;
    for (int i = from; i < to; i++) {
        const int c = at->list[i];
        if (!(w->more[i] <= within && at->whole[i] <= bare_within))
            continue;
        if (limited && !spares(w, at, spare, k, c)) {
            *again = 1;
            continue;
        }
        at->list[n] = c;
        at->ahead[n] = at->ahead[i];
        at->plain[n] = at->plain[i];
        at->full[n] = at->full[i];
        at->whole[n++] = at->whole[i];
    }
    at->stale[k] |= n - at->begin[k] != to - from;
    return n;
}

int narrowed(Work *w, Partial *at)
{
    slackened(w->problem, at);
    if (!fitting(w, at))
        return 0;
    shared_out(w, at);
    for (int again = 1; again;) {
        double total = at->cost, bare = at->paid + at->pending, spare[MOST_LIMITS];
        for (int k = 0; k < at->n_open; k++) {
            total += at->low[k];
            bare += at->bare_low[k];
        }
        total += unfilled(w, at);
        at->total = total > bare ? total : bare;
        /* under multipliers, what has been paid is no bound: where a site is in use by now, choices
         * there may cost less than nothing */
        if ((at->n_open ? at->total : bare) > w->most)
            return 0;
        for (int k = 0; k < at->n_open; k++)
            if (at->stale[k])
                weighed(w->problem, at, k);
        if (!spared(w, at, spare))
            return 0;
        again = 0;
        int n = 0;
        for (int k = 0; k < at->n_open; k++) {
            const double within = w->most - total;
            weighed_up(w, at, k);
            const double bare_within = w->most - bare + at->bare_low[k];
            n = kept(w, at, spare, k, n, within, bare_within, &again);
            if (n == at->begin[k])
                return 0;
        }
        at->begin[at->n_open] = n;
        for (int k = 0; k < at->n_open && again; k++)
            spanned(at, k);
    }
    return 1;
}

/* A slot beside the one just filled: what its choices cost on top. */
typedef struct {
    const double *row, *bare_row;
    int stride, slot;
} Beside;

/* What the lines and rules of a slot just filled bring: settled with slots filled before, on top
 * of the choices of slots still open. Returns how many of these there are. */
static int tied(const Work *w, const Partial *from, Partial *to, int slot, int c, Beside *open)
{
    const Problem *p = w->problem;
    const int n_l = p->n_limits, mine = c - p->first[slot];
    int n = 0;
    for (int e = p->beside[slot]; e < p->beside[slot + 1]; e++) {
        const int pair = p->beside_pair[e], other = p->beside_slot[e], turned = slot > other;
        const int n_b = p->first[p->pair_b[pair] + 1] - p->first[p->pair_b[pair]];
        const int64_t start = p->pair_start[pair];
        if (from->chosen[other] < 0) {
            const int64_t cell = start + (turned ? mine : (int64_t)mine * n_b);
            open[n].row = w->costs->table + cell;
            open[n].bare_row = p->pair_cost + cell;
            open[n].stride = turned ? n_b : 1;
            open[n++].slot = other;
            to->pending -= p->pair_bottom[pair];
            continue;
        }
        const int theirs = from->chosen[other] - p->first[other];
        const int64_t cell =
            start + (turned ? (int64_t)theirs * n_b + mine : (int64_t)mine * n_b + theirs);
        for (int f = 0; f < n_l; f++) {
            const double each = p->pair_limit[cell * n_l + f];
            to->form[f] += each - p->pair_limit_bottom[pair * n_l + f];
            to->top[f] += each - p->pair_limit_top[pair * n_l + f];
        }
    }
    return n;
}

void filled(const Work *w, const Partial *from, Partial *to, int k, int i)
{
    const Problem *p = w->problem;
    const int n_l = p->n_limits, n_k = p->n_kinds;
    const int slot = from->slots[k], c = from->list[i], site = p->site[c];
    const int opens = !from->used[site];
    Beside open[MOST_SLOTS];
    to->cost = from->cost + from->ahead[i] + (opens ? w->costs->use[site] : 0.0);
    to->paid = from->paid + from->plain[i] + (opens ? p->use_cost[site] : 0.0);
    to->pending = from->pending;
    for (int f = 0; f < n_l; f++) {
        const double each = p->limit[c * n_l + f];
        to->form[f] = from->form[f] + each + (opens ? p->use_limit[site * n_l + f] : 0.0);
        to->top[f] = from->top[f] + each - w->slot_top[slot * n_l + f];
    }
    memcpy(to->binding, from->binding, sizeof(int32_t) * from->n_binding);
    to->n_binding = from->n_binding;
    const int n_beside = tied(w, from, to, slot, c, open);
    int n = 0, slots = 0;
    for (int j = 0; j < from->n_open; j++) {
        if (j == k)
            continue;
        const int other = from->slots[j], begin = from->begin[j], size = from->begin[j + 1] - begin;
        to->slots[slots] = other;
        to->begin[slots] = n;
        memcpy(to->list + n, from->list + begin, sizeof(int32_t) * size);
        memcpy(to->lightest + slots * n_l, from->lightest + j * n_l, sizeof(double) * n_l);
        memcpy(to->heaviest + slots * n_l, from->heaviest + j * n_l, sizeof(double) * n_l);
        to->stale[slots] = from->stale[j];
        int e = 0;
        while (e < n_beside && open[e].slot != other)
            e++;
        if (e == n_beside) {
            memcpy(to->ahead + n, from->ahead + begin, sizeof(double) * size);
            memcpy(to->plain + n, from->plain + begin, sizeof(double) * size);
        } else {
            for (int m = 0; m < size; m++) {
                const int64_t cell = (from->list[begin + m] - p->first[other]) * (int64_t)open[e].stride;
                to->ahead[n + m] = from->ahead[begin + m] + open[e].row[cell];
                to->plain[n + m] = from->plain[begin + m] + open[e].bare_row[cell];
            }
        }
        n += size;
        slots++;
    }
    to->begin[slots] = n;
    to->n_open = slots;
    memcpy(to->used, from->used, p->n_sites);
    to->used[site] = 1;
    memcpy(to->room, from->room, sizeof(double) * p->n_sites * n_k);
    for (int j = 0; j < n_k; j++)
        to->room[site * n_k + j] -= p->capacity_use[c * n_k + j];
    memcpy(to->empty, from->empty, sizeof(double) * p->n_sites);
    to->empty[site] -= brought(w, from, c, 0);
    memcpy(to->chosen, from->chosen, sizeof(int32_t) * p->n_slots);
    to->chosen[slot] = c;
}

int fewest(const Partial *at)
{
    int k = 0;
    for (int j = 1; j < at->n_open; j++)
        if (at->begin[j + 1] - at->begin[j] < at->begin[k + 1] - at->begin[k])
            k = j;
    return k;
}

/* What the options of a line cost and bring to the limits at a whole assignment; which of them is
 * cheapest. */
typedef struct {
    const double *cost, *limit;
    int n, cheapest;
} Options;

static Options options_of(const Problem *p, const Partial *at, int line)
{
    const int a = p->line_a[line], b = p->line_b[line], n = p->line_options[line];
    const int64_t cell = (int64_t)(at->chosen[a] - p->first[a]) * (p->first[b + 1] - p->first[b])
                         + at->chosen[b] - p->first[b];
    const int64_t from = p->line_start[line] + cell * n;
    Options found = {p->option_cost + from, p->option_limit + from * p->n_limits, n, 0};
    for (int o = 1; o < n; o++)
        if (found.cost[o] < found.cost[found.cheapest])
            found.cheapest = o;
    return found;
}

/* `form` with the cheapest options, where it is with the least that each limit can have; what each
 * line can take off that again, and all lines from each number on. 0 where that is not enough. */
static int relieved(const Work *w, const Partial *at, double *form)
{
    const Problem *p = w->problem;
    const int n_l = p->n_limits;
    memset(w->left + p->n_lines * n_l, 0, sizeof(double) * n_l);
    for (int line = p->n_lines - 1; line >= 0; line--) {
        const Options own = options_of(p, at, line);
        for (int f = 0; f < n_l; f++) {
            const double mine = own.limit[own.cheapest * n_l + f];
            double least = mine, price = INFINITY;
            for (int o = 0; o < own.n; o++) {
                const double each = own.limit[o * n_l + f];
                if (!(own.cost[o] < INFINITY && each < mine))
                    continue;
                const double per = (own.cost[o] - own.cost[own.cheapest]) / (mine - each);
                least = each < least ? each : least;
                price = per < price ? per : price;
            }
            form[f] += mine - least;
            w->relief[line * n_l + f] = mine - least;
            w->price[line * n_l + f] = price;
            w->left[line * n_l + f] = w->left[(line + 1) * n_l + f] + mine - least;
        }
    }
    for (int f = 0; f < n_l; f++)
        if (form[f] - w->left[f] > p->upper[f] + ROOM)
            return 0;
    return 1;
}

/* For every limit that the cheapest options break, the lines that relieve it, the one that takes
 * least for it first. */
static void ordered(const Work *w, const double *form)
{
    const Problem *p = w->problem;
    const int n_l = p->n_limits;
    for (int f = 0; f < n_l; f++) {
        int32_t *order = w->order + f * p->n_lines, n = 0;
        for (int line = 0; line < p->n_lines && form[f] > p->upper[f] + ROOM; line++) {
            const double price = w->price[line * n_l + f];
            if (!(price < INFINITY))
                continue;
            int k = n++;
            for (; k > 0 && w->price[order[k - 1] * n_l + f] > price; k--)
                order[k] = order[k - 1];
            order[k] = line;
        }
        w->n_order[f] = n;
    }
}

/* The least that the lines from number `line` on take for bringing limits in again. */
static double owed(const Work *w, int line, const double *form)
{
    const Problem *p = w->problem;
    double most = 0.0;
    for (int f = 0; f < p->n_limits; f++) {
        const int32_t *order = w->order + f * p->n_lines;
        double over = form[f] - p->upper[f] - ROOM, sum = 0.0;
        for (int k = 0; k < w->n_order[f] && over > 0.0; k++) {
            if (order[k] < line)
                continue;
            const double relief = w->relief[order[k] * p->n_limits + f];
            sum += (relief < over ? relief : over) * w->price[order[k] * p->n_limits + f];
            over -= relief;
        }
        most = sum > most ? sum : most;
    }
    return most * (1.0 - ROOM); /* rounding cuts nothing off */
}

/* The least that the lines from number `line` on cost beyond their cheapest options, no more than
 * `room`, with `form` if all of these are taken; infinite where no options keep the limits. Past
 * the budget it ends with what it has. */
static double bought(Work *w, const Partial *at, int line, const double *form, double room)
{
    const Problem *p = w->problem;
    const int n_l = p->n_limits;
    int fits = 1;
    for (int f = 0; f < n_l; f++) {
        if (form[f] - w->left[line * n_l + f] > p->upper[f] + ROOM)
            return INFINITY;
        fits &= form[f] <= p->upper[f] + ROOM;
    }
    if (fits)
        return 0.0;
    if (line == p->n_lines || owed(w, line, form) > room)
        return INFINITY;
    const Options own = options_of(p, at, line);
    double best = INFINITY;
    for (int o = 0; o < own.n; o++) {
        const double more = own.cost[o] - own.cost[own.cheapest];
        if (!(more <= room) || more >= best)
            continue;
        if (++w->looked > w->budget) {
            w->over = 1;
            return best;
        }
        double with[MOST_LIMITS];
        for (int f = 0; f < n_l; f++)
            with[f] = form[f] + own.limit[o * n_l + f] - own.limit[own.cheapest * n_l + f];
        const double each = more + bought(w, at, line + 1, with, room - more);
        if (each < best) {
            best = each;
            room = best < room ? best : room;
        }
        if (w->over)
            return best;
    }
    return best;
}

int worth_having(Work *w, const Asked *asked, const Partial *at)
{
    double form[MOST_LIMITS];
    memcpy(form, at->form, sizeof(double) * w->problem->n_limits);
    if (!relieved(w, at, form))
        return 0;
    ordered(w, form);
    const double score = at->paid + bought(w, at, 0, form, w->most - at->paid);
    if (!(score <= w->most))
        return 0;
    if (asked->top > 0) {
        int n = w->n_best < asked->top ? w->n_best++ : asked->top - 1;
        for (; n > 0 && w->best[n - 1] > score; n--)
            w->best[n] = w->best[n - 1];
        w->best[n] = score;
        if (w->n_best == asked->top) {
            const double last = w->best[asked->top - 1];
            const double most = last + asked->tie * (fabs(last) > 1.0 ? fabs(last) : 1.0);
            w->most = most < w->most ? most : w->most;
        }
    }
    return 1;
}

int set_up(Work *w, const Problem *p, const Costs *costs, const Asked *asked)
{
    const size_t n_s = (size_t)p->n_slots + 1, n_l = (size_t)p->n_limits + 1;
    const size_t n_u = (size_t)p->n_sites + 1, n_o = (size_t)p->n_lines + 1;
    w->problem = p;
    w->costs = costs;
    w->most = asked->most;
    w->budget = asked->budget;
    w->looked = 0;
    w->n_best = w->over = 0;
    w->exposed = malloc(n_s);
    w->slot_top = malloc(sizeof(double) * n_s * n_l);
    w->use_top = malloc(sizeof(double) * n_l);
    w->slots_at = malloc(sizeof(int32_t) * 3 * n_u);
    w->paid_at = malloc(sizeof(double) * 4 * n_u);
    w->best = malloc(sizeof(double) * (asked->top + 1));
    w->relief = malloc(sizeof(double) * 3 * n_l * n_o);
    w->order = malloc(sizeof(int32_t) * n_l * (n_o + 1));
    if (!set_up_filling(w) || !w->exposed || !w->slot_top || !w->use_top || !w->slots_at || !w->paid_at
        || !w->best || !w->relief || !w->order)
        return 0;
    w->last_at = w->slots_at + n_u;
    w->fit_at = w->last_at + n_u;
    w->most_at = w->paid_at + n_u;
    w->part = w->most_at + n_u;
    w->bare_part = w->part + n_u;
    w->price = w->relief + n_l * n_o;
    w->left = w->price + n_l * n_o;
    w->n_order = w->order + n_l * n_o;
    return p->n_slots <= MOST_SLOTS && p->n_limits <= MOST_LIMITS;
}

void tear_down(Work *w)
{
    free(w->exposed);
    free(w->slot_top);
    free(w->use_top);
    free(w->slots_at);
    free(w->paid_at);
    free(w->best);
    free(w->relief);
    free(w->order);
    tear_down_filling(w);
}
