/* test_morphology_laws.c - what must hold whatever the picture: turning, mirroring, finer pixels,
 * splitting a field, neighbours, and running out of memory. */
#include "kb_cmocka.h"

#include "fail_alloc.h"
#include "shapes.h"

#include <stdlib.h>
#include <string.h>

/* Nodules with rough outlines, some touching, some with holes, some cut by the frame, and specks.
 */
static struct kb_phase_map busy_field(uint64_t seed) {
    struct kb_phase_map map = map_blank(520, 440);
    for (int i = 0; i < 45; i++) {
        struct place centre = {520.0 * spread(&seed), 440.0 * spread(&seed)};
        double radius = 3.0 + 24.0 * spread(&seed);
        double squeeze = 0.7 + 0.3 * spread(&seed);
        map_paint_ellipse(&map, KB_GRAPHITE, centre, radius, squeeze * radius,
                          SHAPE_PI * spread(&seed));
        if (i % 4 == 0) {
            map_paint_disc(&map, KB_PEARLITE, centre, 0.3 * radius);
        }
    }
    for (int i = 0; i < 200; i++) {
        int32_t x = (int32_t)(520.0 * spread(&seed));
        kb_row(&map.label, (int32_t)(440.0 * spread(&seed)))[x] = KB_GRAPHITE;
    }
    return map;
}

static int by_area(const void *left, const void *right) {
    const struct kb_particle *a = left;
    const struct kb_particle *b = right;
    if (a->area_px2 != b->area_px2) {
        return a->area_px2 < b->area_px2 ? -1 : 1;
    }
    if (a->perimeter_px != b->perimeter_px) {
        return a->perimeter_px < b->perimeter_px ? -1 : 1;
    }
    return (a->state > b->state) - (a->state < b->state);
}

static struct kb_particles sorted(struct kb_phase_map *map, double px_um, bool part) {
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    params.part_touching = part;
    struct kb_particles particles = measured(map, px_um, &params);
    qsort(particles.particle, particles.count, sizeof *particles.particle, by_area);
    kb_phase_map_release(map);
    return particles;
}

static void assert_same_shapes(const struct kb_particles *a, const struct kb_particles *b) {
    assert_int_equal(a->count, b->count);
    for (size_t i = 0; i < a->count; i++) {
        const struct kb_particle *p = &a->particle[i];
        const struct kb_particle *q = &b->particle[i];
        assert_near(p->area_px2, q->area_px2, 0.0);
        assert_near(p->hole_area_px2, q->hole_area_px2, 0.0);
        assert_near(p->perimeter_px, q->perimeter_px, 1e-9);
        assert_near(p->feret_max_px, q->feret_max_px, 1e-9);
        assert_near(p->feret_min_px, q->feret_min_px, 1e-9);
        assert_near(p->solidity, q->solidity, 1e-12);
        assert_near(p->major_px, q->major_px, 1e-9);
        assert_near(p->minor_px, q->minor_px, 1e-6);
        assert_int_equal(p->form, q->form);
        assert_int_equal(p->state, q->state);
    }
}

static void turning_and_mirroring_change_no_figure(void **state) {
    (void)state;
    for (uint64_t seed = 31; seed < 34; seed++) {
        struct kb_phase_map map = busy_field(seed);
        struct kb_phase_map turned = map_turned(&map);
        struct kb_phase_map mirrored = map_mirrored(&map);
        struct kb_particles a = sorted(&map, 0.5, false);
        struct kb_particles b = sorted(&turned, 0.5, false);
        struct kb_particles c = sorted(&mirrored, 0.5, false);
        assert_true(a.count > 100 && a.in_state[KB_COUNTS] > 10);
        assert_same_shapes(&a, &b);
        assert_same_shapes(&a, &c);
        kb_particles_release(&a);
        kb_particles_release(&b);
        kb_particles_release(&c);
    }
}

/* Cuts may fall a pixel or two to this or that side: the pieces' areas may change by 4 %, 1.5 px
 * along a neck of 3/4 of the diameter. */
static bool parted_alike(const struct kb_particles *a, const struct kb_particles *b) {
    if (a->parted_clusters != b->parted_clusters || a->count != b->count) {
        return false;
    }
    for (size_t i = 0; i < a->count; i++) {
        double area = a->particle[i].area_px2;
        if (!(fabs(b->particle[i].area_px2 - area) <= 0.04 * area)) {
            return false;
        }
    }
    return true;
}

/* A piece whose shape lies within a shifted cut's reach of the mark may fall to either side of it:
 * in one of the eight fields, of some six clusters each, another number may be parted. */
static void turning_and_mirroring_part_the_same_clusters(void **state) {
    (void)state;
    int alike = 0;
    for (uint64_t seed = 41; seed < 49; seed++) {
        struct kb_phase_map map = busy_field(seed);
        struct kb_phase_map turned = map_turned(&map);
        struct kb_phase_map mirrored = map_mirrored(&map);
        struct kb_particles a = sorted(&map, 0.5, true);
        struct kb_particles b = sorted(&turned, 0.5, true);
        struct kb_particles c = sorted(&mirrored, 0.5, true);
        assert_true(a.parted_clusters > 0);
        alike += parted_alike(&a, &b) && parted_alike(&a, &c) ? 1 : 0;
        kb_particles_release(&a);
        kb_particles_release(&b);
        kb_particles_release(&c);
    }
    assert_true(alike >= 7);
}

/* Each particle drawn alone is one 8-connected region, pieces of clusters too. */
static void every_piece_hangs_together(void **state) {
    (void)state;
    for (uint64_t seed = 91; seed < 99; seed++) {
        struct kb_phase_map map = busy_field(seed);
        struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
        struct kb_particles all = measured(&map, 0.5, &params);
        assert_true(all.parted_clusters > 0);
        for (uint32_t k = 0; k < all.count; k++) {
            if (!all.particle[k].parted) {
                continue;
            }
            struct kb_phase_map alone = map_blank(520, 440);
            for (int32_t y = 0; y < 440; y++) {
                for (size_t i = all.runs.row[y]; i < all.runs.row[y + 1]; i++) {
                    const struct kb_run *run = &all.runs.run[i];
                    if (run->region == k) {
                        memset(kb_row(&alone.label, y) + run->x0, KB_GRAPHITE,
                               (size_t)(run->x1 - run->x0));
                    }
                }
            }
            (void)only_particle(&alone);
            kb_phase_map_release(&alone);
        }
        kb_particles_release(&all);
        kb_phase_map_release(&map);
    }
}

static void turning_turns_the_directions(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(200, 160);
    map_paint_ellipse(&map, KB_GRAPHITE, (struct place){90, 70}, 50.0, 20.0, 0.4);
    struct kb_phase_map turned = map_turned(&map);
    struct kb_particle p = only_particle(&map);
    struct kb_particle q = only_particle(&turned);
    kb_phase_map_release(&map);
    kb_phase_map_release(&turned);
    assert_near(q.feret_max_angle - p.feret_max_angle, SHAPE_PI / 2.0, 1e-9);
    assert_near(fabs(q.feret_min_angle - p.feret_min_angle), SHAPE_PI / 2.0, 1e-9);
    assert_near(q.x_px, p.y_px, 1e-9);
    assert_near(q.y_px, 200.0 - p.x_px, 1e-9);
}

/* Each pixel as four of half the size: areas in um2 are equal; the half pixel on the Feret diameter
 * halves, and the centres' hull grows by half an old pixel in each axis, so lengths differ by less
 * than one old pixel. */
static void pixels_of_half_the_size_give_nearly_the_same_lengths(void **state) {
    (void)state;
    struct kb_phase_map map = busy_field(51);
    struct kb_phase_map doubled = map_doubled(&map);
    struct kb_particles a = sorted(&map, 0.5, false);
    struct kb_particles b = sorted(&doubled, 0.25, false);
    assert_int_equal(a.count, b.count);
    for (size_t i = 0; i < a.count; i++) {
        const struct kb_particle *p = &a.particle[i];
        const struct kb_particle *q = &b.particle[i];
        assert_near(q->area_px2, 4.0 * p->area_px2, 0.0);
        assert_near(0.25 * q->feret_max_px, 0.5 * p->feret_max_px, 0.5);
        assert_near(0.25 * q->feret_min_px, 0.5 * p->feret_min_px, 0.5);
        assert_near(0.25 * q->major_px, 0.5 * p->major_px, 1e-9);
        if (p->area_px2 > 50.0) {
            assert_near(0.25 * q->perimeter_px, 0.5 * p->perimeter_px, 0.08 * p->perimeter_px);
        }
    }
    kb_particles_release(&a);
    kb_particles_release(&b);
}

/* A particle's figures do not hang on what else is in the field. */
static void particles_are_measured_alone_as_among_others(void **state) {
    (void)state;
    struct kb_phase_map map = busy_field(61);
    struct kb_morphology_params params = rules_plain();
    struct kb_particles all = measured(&map, 0.5, &params);
    for (uint32_t k = 0; k < all.count; k += 7) {
        struct kb_phase_map alone = map_blank(520, 440);
        for (int32_t y = 0; y < 440; y++) {
            for (size_t i = all.runs.row[y]; i < all.runs.row[y + 1]; i++) {
                const struct kb_run *run = &all.runs.run[i];
                for (int32_t x = run->x0; x < run->x1 && run->region == k; x++) {
                    kb_row(&alone.label, y)[x] = KB_GRAPHITE;
                }
            }
        }
        struct kb_particle p = only_particle(&alone);
        kb_phase_map_release(&alone);
        assert_near(p.area_px2, all.particle[k].area_px2, 0.0);
        assert_near(p.perimeter_px, all.particle[k].perimeter_px, 0.0);
        assert_near(p.feret_max_px, all.particle[k].feret_max_px, 0.0);
        assert_near(p.major_px, all.particle[k].major_px, 0.0);
        assert_near(p.x_px, all.particle[k].x_px, 0.0);
    }
    kb_particles_release(&all);
    kb_phase_map_release(&map);
}

static void two_runs_give_the_same_bits(void **state) {
    (void)state;
    struct kb_phase_map one = busy_field(71);
    struct kb_phase_map two = busy_field(71);
    struct kb_particles a = sorted(&one, 0.5, true);
    struct kb_particles b = sorted(&two, 0.5, true);
    assert_true(a.parted_clusters > 0);
    assert_same_shapes(&a, &b);
    kb_particles_release(&a);
    kb_particles_release(&b);
}

static void running_out_of_memory_leaves_nothing_behind(void **state) {
    (void)state;
    struct kb_phase_map map = busy_field(81);
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    bool done = false;
    size_t n = 1;
    for (; !done; n++) {
        struct kb_particles particles;
        struct kb_err err = {0};
        fail_alloc_at(n);
        enum kb_status status = kb_morphology_run(&map, NULL, 0.5, &params, &particles, &err);
        done = !fail_alloc_happened();
        if (done) {
            assert_int_equal(status, KB_OK);
            assert_true(particles.parted_clusters > 0);
            kb_particles_release(&particles);
        } else {
            assert_int_equal(status, KB_E_MEMORY);
            assert_int_equal(err.code, KB_E_MEMORY);
            assert_null(particles.particle);
            assert_null(particles.runs.run);
        }
        assert_int_equal(fail_alloc_open_blocks(), 0);
    }
    fail_alloc_at(0);
    assert_true(n > 20);
    kb_phase_map_release(&map);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(turning_and_mirroring_change_no_figure),
        cmocka_unit_test(turning_and_mirroring_part_the_same_clusters),
        cmocka_unit_test(every_piece_hangs_together),
        cmocka_unit_test(turning_turns_the_directions),
        cmocka_unit_test(pixels_of_half_the_size_give_nearly_the_same_lengths),
        cmocka_unit_test(particles_are_measured_alone_as_among_others),
        cmocka_unit_test(two_runs_give_the_same_bits),
        cmocka_unit_test(running_out_of_memory_leaves_nothing_behind),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
