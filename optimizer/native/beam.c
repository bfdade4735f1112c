/* Good assignments quickly: slot after slot only the most promising partial assignments go on. */

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "partial.h"

/* Children looked at more closely, for each that goes on. */
#define CLOSER 3
/* Combinations of lines' options looked at, for each assignment: a beam promises nothing. */
#define COMBINATIONS 100000

/* A child to be: of which partial assignment (in order), which open slot filled with which item;
 * what it comes to as far as the parent tells. */
typedef struct {
    double total;
    int32_t parent, slot, item;
} Child;

/* Equals stay in the order they came in, so that the same comes out on every machine. */
static int cheaper_child(const void *a, const void *b)
{
    const Child *x = a, *y = b;
    if (x->total != y->total)
        return x->total < y->total ? -1 : 1;
    if (x->parent != y->parent)
        return x->parent < y->parent ? -1 : 1;
    return x->item < y->item ? -1 : x->item > y->item;
}

static int cheaper(const void *a, const void *b)
{
    const Partial *x = *(Partial *const *)a, *y = *(Partial *const *)b;
    if (x->total != y->total)
        return x->total < y->total ? -1 : 1;
    return x < y ? -1 : x > y; /* all in one array, in order */
}

/* The open slot with the fewest choices left in all of some partial assignments. */
static int fewest_of_all(Partial *const *at, int n)
{
    int best = 0;
    int64_t least = INT64_MAX;
    for (int k = 0; k < at[0]->n_open; k++) {
        int64_t choices = 0;
        for (int one = 0; one < n; one++)
            choices += at[one]->begin[k + 1] - at[one]->begin[k];
        if (choices < least) {
            least = choices;
            best = k;
        }
    }
    return best;
}

/* All children of some partial assignments. They fill the same slot, so that none looks cheap for
 * what it has put off. */
static int children(Partial *const *at, int n, Child *found)
{
    const int k = fewest_of_all(at, n);
    int count = 0;
    for (int parent = 0; parent < n; parent++) {
        const Partial *one = at[parent];
        const int from = one->begin[k], to = one->begin[k + 1];
        double least = INFINITY;
        for (int i = from; i < to; i++)
            least = one->full[i] < least ? one->full[i] : least;
        for (int i = from; i < to; i++)
            found[count++] = (Child){one->total + one->full[i] - least, parent, k, i};
    }
    qsort(found, count, sizeof(Child), cheaper_child);
    return count;
}

/* The next level: partial assignments made of the cheapest children, the cheapest `width` first. */
static int grown(Work *w, Partial *const *at, const Child *found, int count, Partial *pool,
                 Partial **next, int width)
{
    int n = 0;
    for (int i = 0; i < count && i < CLOSER * width; i++) {
        filled(w, at[found[i].parent], pool + n, found[i].slot, found[i].item);
        w->looked++;
        if (narrowed(w, pool + n)) {
            next[n] = pool + n;
            n++;
        }
    }
    qsort(next, n, sizeof(Partial *), cheaper);
    return n < width ? n : width;
}

static int run(Work *w, const Asked *asked, Answer *answer, Partial *pool, Partial **lists,
               Child *found)
{
    const int most = CLOSER * asked->width + 1, n_slots = w->problem->n_slots;
    Partial **at = lists, **next = lists + most;
    at[0] = pool;
    begin(w, asked, pool);
    int n = narrowed(w, pool);
    for (int level = 1; n && level <= n_slots; level++) {
        const int count = children(at, n, found);
        n = grown(w, at, found, count, pool + level % 2 * most, next, asked->width);
        Partial **swap = at;
        at = next;
        next = swap;
    }
    for (int k = 0; k < n; k++) {
        w->budget = w->looked + COMBINATIONS;
        w->over = 0;
        if (!worth_having(w, asked, at[k]))
            continue;
        if (answer->n_found >= asked->most_found)
            return FULL;
        memcpy(answer->found + answer->n_found++ * n_slots, at[k]->chosen,
               sizeof(int32_t) * n_slots);
    }
    return ALL;
}

int limbtrim_beam(const Problem *p, const Costs *costs, const Asked *asked, Answer *answer)
{
    Work w;
    const size_t most = 2 * (CLOSER * (size_t)asked->width + 1), each = partial_bytes(p);
    const int ready = set_up(&w, p, costs, asked);
    char *space = malloc(each * most);
    Partial *pool = malloc(sizeof(Partial) * most), **lists = malloc(sizeof(Partial *) * most);
    Child *found = malloc(sizeof(Child) * ((size_t)asked->width * p->n_choices + 1));
    int end = NO_MEMORY;
    answer->n_found = answer->looked = 0;
    if (ready && space && pool && lists && found) {
        for (size_t k = 0; k < most; k++)
            lay_out(p, pool + k, space + k * each);
        end = run(&w, asked, answer, pool, lists, found);
        answer->looked = w.looked;
    }
    free(space);
    free(pool);
    free(lists);
    free(found);
    tear_down(&w);
    return end;
}
