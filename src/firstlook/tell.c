/* tell.c - what the first look found, in sentences for the reader of the result. */
#include "firstlook_priv.h"

static double percent(const struct kb_firstlook_frame *frame, double pixels) {
    return 100.0 * pixels / (double)kb_image_pixels(kb_firstlook_grey(frame));
}

/* What lies outside the marks' boxes cannot be told mark by mark: vignette and resin are no boxes,
 * and marks overlap. So each kind is told once, with its share by boxes, or the whole for those. */
static const char *kind_words(enum kb_mark_kind kind) {
    static const char *const words[KB_MARK_KINDS] = {
        "A strip of lettering along the side",
        "A scale bar drawn over the picture",
        "Lettering, arrows or frames drawn over the picture",
        "An even black or white margin",
        "The dark surround of a round field of view",
        "An even dark area beside the specimen, taken for mounting resin,",
    };
    return words[kind];
}

static enum kb_status tell_kind(const struct kb_firstlook_frame *frame, enum kb_mark_kind kind,
                                struct kb_err *err) {
    struct kb_first_look *look = frame->look;
    size_t count = 0;
    const struct kb_mark *first = NULL;
    for (size_t i = 0; i < look->marks; i++) {
        if (look->mark[i].kind == kind) {
            first = count == 0 ? &look->mark[i] : first;
            count++;
        }
    }
    if (count == 0 || kind == KB_MARK_SCALE_BAR) {
        return KB_OK;
    }
    char code[40], several[32] = "";
    (void)snprintf(code, sizeof code, "%s-excluded", kb_mark_kind_name(kind));
    if (count > 1) {
        (void)snprintf(several, sizeof several, " (%zu places)", count);
    }
    return kb_findings_add(
        &look->findings, err, KB_NOTE, code,
        "%s%s is left out: %d x %d pixels at %d, %d%s. If it is specimen, measure the whole "
        "frame (--whole-frame).",
        kind_words(kind), several, (int)first->box.width, (int)first->box.height, (int)first->box.x,
        (int)first->box.y, count > 1 ? " is the first" : "");
}

static enum kb_status tell_scale_bars(const struct kb_firstlook_frame *frame, struct kb_err *err) {
    struct kb_first_look *look = frame->look;
    for (size_t i = 0; i < look->marks; i++) {
        if (look->mark[i].bar_px > 0.0) {
            double px = look->mark[i].bar_px;
            return kb_findings_add(
                &look->findings, err, KB_NOTE, "scale-bar-seen",
                "A scale bar of %.0f pixels is burnt into the picture. To calibrate by it, type "
                "--scale-bar %.0fpx=20um with the length that is written beside it in place of "
                "20um.",
                px, px);
        }
    }
    return KB_OK;
}

static enum kb_status tell_share(const struct kb_firstlook_frame *frame, struct kb_err *err) {
    struct kb_first_look *look = frame->look;
    double share = percent(frame, (double)look->outside_px);
    if (look->outside_px == 0) {
        return KB_OK;
    }
    bool little = share > 50.0;
    return kb_findings_add(&look->findings, err, little ? KB_WARNING : KB_NOTE,
                           little ? "little-specimen" : "marks-excluded",
                           "%.1f %% of the frame is not specimen and is left out%s.", share,
                           little ? "; check the overlay, and measure more fields" : "");
}

static enum kb_status tell_contrast(const struct kb_firstlook_frame *frame, struct kb_err *err) {
    struct kb_first_look *look = frame->look;
    const struct kb_contrast_found *found = &look->contrast;
    if (!found->sure) {
        return kb_findings_add(
            &look->findings, err, KB_SERIOUS, "contrast-unsure",
            "How the field was seen is not plain (etched in light %.0f %%, polished %.0f %%, "
            "secondary electrons %.0f %%). Say --contrast light, --contrast light-unetched or "
            "--contrast sem.",
            100.0 * found->belief[KB_LIGHT], 100.0 * found->belief[KB_LIGHT_UNETCHED],
            100.0 * found->belief[KB_SEM]);
    }
    int best = 0;
    double most = -1.0;
    for (int i = 0; i < found->count; i++) {
        const double *speaks = found->evidence[i].speaks;
        double rival = -1e9;
        for (int c = 0; c < 3; c++) {
            rival = c != (int)found->contrast ? fmax(rival, speaks[c]) : rival;
        }
        if (speaks[found->contrast] - rival > most) {
            most = speaks[found->contrast] - rival;
            best = i;
        }
    }
    const struct kb_evidence *evidence = &found->evidence[best];
    return kb_findings_add(
        &look->findings, err, KB_NOTE, "contrast-found",
        "The field was taken for '%s' by its looks (belief %.1f %%). The strongest "
        "sign: %s = %.3g%s%s. If that is wrong, say --contrast.",
        kb_contrast_name(found->contrast), 100.0 * found->belief[found->contrast], evidence->what,
        evidence->value, evidence->unit[0] != '\0' ? " " : "", evidence->unit);
}

enum kb_status kb_firstlook_tell(const struct kb_firstlook_frame *frame, struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (int kind = 0; status == KB_OK && kind < KB_MARK_KINDS; kind++) {
        status = tell_kind(frame, (enum kb_mark_kind)kind, err);
    }
    if (status == KB_OK) {
        status = tell_scale_bars(frame, err);
    }
    if (status == KB_OK) {
        status = tell_share(frame, err);
    }
    return status == KB_OK ? tell_contrast(frame, err) : status;
}
