/* consumer.c - the smallest program that measures a picture with the installed library. */
#include <keelblock/keelblock.h>

int main(int argc, char **argv) {
    struct kb_settings settings = kb_settings_default(KB_DUCTILE_IRON, KB_LIGHT);
    struct kb_result result;
    if (argc != 2 || kb_measure_file(argv[1], &settings, &result, NULL) != KB_OK) {
        return 1;
    }
    return printf("%.4f\n", result.specimen.phase[KB_GRAPHITE].value) > 0 ? 0 : 1;
}
