// SPDX-License-Identifier: Apache-2.0
// The C interface: a random sequence of calls over the bytes, with handles that come and go, are
// null, or have run dry; what every answer promises is held to.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <initializer_list>

#include "telltale.h"

namespace {

void check(bool good) {
    if (!good)
        std::abort();
}

/// Takes the input apart from its front.
class Input {
  public:
    Input(const std::uint8_t* data, std::size_t size) : data_(data), size_(size) {}
    bool empty() const { return size_ == 0; }
    std::uint8_t byte() {
        if (size_ == 0)
            return 0;
        --size_;
        return *data_++;
    }
    std::uint32_t word() {
        std::uint32_t out = 0;
        for (int i = 0; i < 4; ++i)
            out = out << 8 | byte();
        return out;
    }
    /// Up to `most` bytes where they are.
    const std::uint8_t* bytes(std::size_t most, std::size_t& size) {
        size = most < size_ ? most : size_;
        const std::uint8_t* const out = data_;
        data_ += size;
        size_ -= size;
        return out;
    }

  private:
    const std::uint8_t* data_;
    std::size_t size_;
};

unsigned long sink;

void look(const telltale_text& text) {
    check(text.data != nullptr && text.data[text.size] == '\0');
    for (std::size_t i = 0; i < text.size; ++i)
        sink += static_cast<unsigned char>(text.data[i]);
}

void look(const telltale_value& value) {
    check(value.kind >= TELLTALE_NUMBER && value.kind <= TELLTALE_TEST && value.frame >= -1);
    const telltale_label& label = *value.label;
    check(label.name.size != 0 && label.decimals <= 9);
    for (const auto* const text :
         {&label.name, &label.key, &label.unit, &label.ucum, &value.text, &value.note})
        look(*text);
    check(value.number - value.number == 0 && value.low - value.low == 0); // finite
}

void look(const telltale_problem& problem) {
    char sentence[40];
    look(problem.word);
    check(telltale_describe(&problem, sentence, sizeof sentence) > 0);
    check(std::memchr(sentence, '\0', sizeof sentence) != nullptr);
}

void look(const telltale_message& message) {
    check((message.bytes == nullptr) == (message.size == 0));
    for (std::size_t i = 0; i < message.size; ++i)
        sink += message.bytes[i];
    look(message.line_name);
    look(message.negative_text);
    for (const telltale_value* value = message.values; value != nullptr; value = value->next)
        look(*value);
    for (const telltale_dtc* dtc = message.dtcs; dtc != nullptr; dtc = dtc->next) {
        look(dtc->text);
        look(dtc->meaning);
        check(dtc->text.size == (dtc->failure_type < 0 ? 5U : 8U));
    }
    for (const telltale_problem* one = message.problems; one != nullptr; one = one->next)
        look(*one);
}

void look(const telltale_event& event) {
    check((event.message != nullptr) == (event.kind <= TELLTALE_EVENT_PROBLEM));
    check((event.problem != nullptr) == (event.kind == TELLTALE_EVENT_PROBLEM));
    check((event.frame != nullptr) == (event.kind == TELLTALE_EVENT_FRAME));
    look(event.comment);
    if (event.message != nullptr)
        look(*event.message);
    if (event.problem != nullptr) {
        look(*event.problem);
        check(event.problem->next == nullptr && event.message->values == nullptr);
    }
    if (const telltale_frame* const frame = event.frame)
        for (std::size_t i = 0; i < frame->size; ++i)
            sink += frame->data[i];
}

int choose(void* user, const telltale_message* message) {
    look(*message);
    return static_cast<int>(message->size % ++*static_cast<unsigned*>(user));
}

struct Ear {
    telltale_stream* stream;
    std::uint8_t answer;
};

int hear(void* user, const telltale_event* event) {
    auto* const ear = static_cast<Ear*>(user);
    look(*event);
    if (ear->stream != nullptr)
        check(telltale_stream_finish(ear->stream) == TELLTALE_BUSY);
    return ear->answer++ % 5;
}

void look(telltale_vehicle* vehicle) {
    const telltale_vehicle_facts* facts = nullptr;
    if (vehicle == nullptr) {
        check(telltale_vehicle_look(vehicle, &facts) == TELLTALE_BAD_ARGUMENT);
        return;
    }
    check(telltale_vehicle_look(vehicle, &facts) == TELLTALE_OK);
    look(facts->vin);
    look(facts->vin_check);
    for (std::size_t i = 0; i < facts->ecus; ++i) {
        const telltale_ecu* const ecu = telltale_vehicle_ecu(vehicle, i);
        look(ecu->id);
        look(ecu->line);
        look(ecu->vin);
        for (std::size_t k = 0; k < ecu->codes; ++k)
            look(telltale_vehicle_code(vehicle, i, k)->text);
        for (std::size_t k = 0; k < ecu->monitors; ++k)
            look(telltale_vehicle_monitor(vehicle, i, k)->name);
        for (std::size_t k = 0; k < ecu->signals; ++k)
            look(telltale_vehicle_signal(vehicle, i, k)->name);
        check(telltale_vehicle_signal(vehicle, i, ecu->signals) == nullptr);
    }
    check(telltale_vehicle_ecu(vehicle, facts->ecus) == nullptr);
}

void fine(int status) {
    check(status == TELLTALE_OK || status == TELLTALE_END || status == TELLTALE_BAD_ARGUMENT ||
          status == TELLTALE_TOO_LONG || (status <= TELLTALE_IS_DIRECTORY && status >= -8));
}

/// Parameters beside the standard's, for any ECU.
const telltale_extension* own() {
    struct Own {
        Own() {
            static const char text[] =
                "table,id,length,row,field,short,bytes,kind,scaling,unit,choices\n"
                "pid,FD,1,,Door,DOOR,A.0,choice,,,0 = shut | 1 = open\n"
                "local-id,01,3,,Slip,SLIP,B-C,number,raw / 4,{slip},\n"
                "data-id,2001,2,,Pressure,PRES,A-B,number,raw * 0.3 - 1,kPa,\n"
                "code,P1234,,Does not hold,,,,,,,\n";
            const telltale_named_text named = {"own", text, sizeof text - 1};
            check(telltale_extension_read(&named, 1, nullptr, nullptr, &extension, nullptr) ==
                  TELLTALE_OK);
        }
        Own(const Own&) = delete;
        Own& operator=(const Own&) = delete;
        ~Own() { telltale_extension_free(extension); }
        telltale_extension* extension = nullptr;
    };
    static const Own kept;
    return kept.extension;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    Input input(data, size);
    telltale_stream* stream = nullptr;
    telltale_dump* dump = nullptr;
    telltale_vehicle* vehicle = nullptr;
    const telltale_event* event = nullptr;
    telltale_error error;
    Ear ear{};
    unsigned chosen = 0;
    std::int64_t time = 0;
    unsigned dumps = 0;
    unsigned reports = 0;
    while (!input.empty()) {
        std::size_t length = 0;
        const std::uint8_t call = input.byte();
        switch (call % 16) {
        case 0: {
            telltale_options options = TELLTALE_OPTIONS_INIT;
            const telltale_identifiers ids = {input.word(), input.word(), input.byte(), 0};
            const std::uint8_t more = input.byte();
            options.units = more & 1;
            options.extension = (call & 32) != 0 ? own() : nullptr;
            options.addressing = more >> 1 & 7;
            options.chooser = (call & 64) != 0 ? choose : nullptr;
            options.chooser_user = &chosen;
            options.ids = (more & 16) != 0 ? &ids : nullptr;
            options.id_count = more >> 5;
            if ((more & 16) != 0 && options.id_count > 1)
                options.id_count = 1;
            telltale_stream_free(stream);
            const int status =
                telltale_stream_new((more & 8) != 0 ? nullptr : &options, &stream, &error);
            fine(status);
            check(error.status == status && (stream != nullptr) == (status == TELLTALE_OK));
            check((error.message[0] == '\0') == (status == TELLTALE_OK));
            break;
        }
        case 1:
        case 2:
        case 3: { // the most of them: frames of one ECU, mostly
            const std::uint8_t how = input.byte();
            const std::uint32_t id = (how & 0xC0) != 0 ? 0x7E8 + (how & 1) : input.word();
            const std::uint32_t flags = (how & 0xC0) != 0 ? 0 : how & 15U;
            const std::uint8_t* const bytes =
                input.bytes((how & 32) != 0 ? input.byte() : 8, length);
            time += how & 16 ? 1'000'000 : static_cast<std::int64_t>(input.byte()) << 24;
            ear.stream = stream;
            fine(telltale_stream_can(stream, how & 1, id, flags, bytes, length, time, call));
            break;
        }
        case 4: {
            const std::uint8_t how = input.byte();
            const std::uint8_t* const bytes = input.bytes(input.byte(), length);
            ear.stream = stream;
            const std::uint32_t no_id = TELLTALE_NO_ID;
            fine(telltale_stream_message(stream, 0, 0x7E8, (how & 3) == 0 ? no_id : how, bytes,
                                         length, time, 0));
            break;
        }
        case 5:
        case 6: {
            const std::uint8_t* const bytes = input.bytes(input.byte(), length);
            ear.stream = stream;
            fine(call % 16 == 5 ? telltale_stream_kline(stream, 0, bytes, length, time, 0)
                                : telltale_stream_j1850(stream, 0, bytes, length, time, 0));
            break;
        }
        case 7:
            for (unsigned i = 0; i < 200; ++i) {
                const int status = telltale_stream_next(stream, &event);
                fine(status);
                check((event != nullptr) == (status == TELLTALE_OK));
                if (event == nullptr)
                    break;
                look(*event);
            }
            break;
        case 8:
            fine(telltale_stream_listen(stream, (call & 16) != 0 ? hear : nullptr, &ear));
            break;
        case 9:
            ear.stream = stream;
            fine(telltale_stream_finish(stream));
            break;
        case 10:
            if ((call & 16) != 0) {
                telltale_vehicle_free(vehicle);
                vehicle = nullptr;
            } else if (vehicle == nullptr) {
                check(telltale_vehicle_new(&vehicle) == TELLTALE_OK);
            }
            break;
        case 11:
            fine(telltale_stream_attach(stream, (call & 16) != 0 ? vehicle : nullptr));
            if ((call & 32) != 0)
                fine(telltale_dump_attach(dump, vehicle));
            break;
        case 12: {
            if (++dumps > 4)
                break;
            const std::size_t most = input.word() % 4096;
            const std::uint8_t* const bytes = input.bytes(most, length);
            telltale_options options = TELLTALE_OPTIONS_INIT;
            options.frames = call >> 4 & 1;
            telltale_dump_free(dump);
            const int status = telltale_dump_open_memory(bytes, length, &options, &dump, &error);
            fine(status);
            check((dump != nullptr) == (status == TELLTALE_OK));
            break;
        }
        case 13:
            for (unsigned i = 0; i < 200; ++i) {
                const int status = telltale_dump_next(dump, &event);
                check((event != nullptr) == (status == TELLTALE_OK));
                if (event == nullptr)
                    break;
                look(*event);
            }
            break;
        case 14:
            ear.stream = nullptr;
            fine(telltale_dump_read(dump, hear, &ear));
            check((telltale_dump_about(dump) == nullptr) == (dump == nullptr));
            break;
        default: {
            if (++reports > 4)
                break;
            look(vehicle);
            const char* text = nullptr;
            std::size_t whole = 0;
            const int units = call >> 4 & 3;
            const int status = (call & 64) != 0
                                   ? telltale_vehicle_json(vehicle, units, &text, &whole)
                                   : telltale_vehicle_text(vehicle, units, &text, &whole);
            fine(status);
            check((text != nullptr) == (status == TELLTALE_OK));
            check(text == nullptr || std::strlen(text) == whole);
            const std::uint8_t* const bytes = input.bytes(input.byte(), length);
            ear.stream = nullptr;
            fine(telltale_decode(bytes, length, call >> 6, nullptr, hear, &ear));
            break;
        }
        }
    }
    if (size % 2 == 0)
        telltale_vehicle_free(vehicle);
    telltale_dump_free(dump);
    telltale_stream_free(stream);
    if (size % 2 != 0)
        telltale_vehicle_free(vehicle);
    return 0;
}
